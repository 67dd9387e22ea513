/**
 * Re-framing after widening: the larger canvas is scaled back to the plate's size, so that the film keeps one picture
 * size. Where the widened canvas has another shape than the plate it is widened further, on the sides asked for, until
 * it has the same. A recipe is written in the plate's own pixels; with the step on, all that lies on the plate moves
 * with it.
 */
import { apply, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import type { Carrier } from '../ride/carrier.js';
import type { GrainModel, Recipe, RecipeStep } from '../types.js';
import type { WidenStep } from '../plate-steps.js';
import type { ShadowReceiver } from '../ground/types.js';

export interface Reframe {
  /** Output pixels a plate pixel, ≤ 1. */
  readonly scale: number;
  /** Whole plate pixels added on each side; the canvas may be up to a pixel larger than the output's shape. */
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
  /** Plate pixels → output pixels. */
  readonly matrix: Mat3;
}

/** How a widened canvas of so many plate pixels a side is scaled back to the plate's size. */
export function reframeOf(
  step: Pick<WidenStep, 'left' | 'right' | 'top' | 'bottom'>,
  widthPx: number,
  heightPx: number,
): Reframe {
  const l = Math.max(0, step.left),
    r = Math.max(0, step.right),
    t = Math.max(0, step.top),
    b = Math.max(0, step.bottom);
  const scale = Math.min(1, widthPx / (widthPx + l + r), heightPx / (heightPx + t + b));
  const moreX = widthPx / scale - (widthPx + l + r),
    moreY = heightPx / scale - (heightPx + t + b);
  const left = l + moreX * (l + r > 0 ? l / (l + r) : 0.5),
    top = t + moreY * (t + b > 0 ? t / (t + b) : 0.5);
  const right = widthPx / scale - widthPx - left,
    bottom = heightPx / scale - heightPx - top;
  return {
    scale,
    left: Math.ceil(left),
    right: Math.ceil(right),
    top: Math.ceil(top),
    bottom: Math.ceil(bottom),
    matrix: [scale, 0, scale * left, 0, scale, scale * top, 0, 0, 1],
  };
}

const movedRegion = (r: RegionFile, m: Mat3): RegionFile => ({
  frames: r.frames.map((f) => ({ frame: f.frame, polygon: f.polygon.map(([x, y]) => apply(m, x, y)) })),
});

function movedReceiver(r: ShadowReceiver, m: Mat3): ShadowReceiver {
  return {
    ...r,
    frames: r.frames.map((f) => ({
      ...f,
      polygon: f.polygon.map(([x, y]) => apply(m, x, y)),
      ...(f.base === undefined ? {} : { base: [apply(m, ...f.base[0]), apply(m, ...f.base[1])] as const }),
    })),
  };
}

/** Grain shrinks with the picture: an area mean over 1/scale pixels of noise with correlation ρ at one pixel. */
function smallerGrain(g: GrainModel | null, scale: number): GrainModel | null {
  if (g === null) return null;
  const rho = Math.min(1, Math.max(0, ((g.autocorrelation.x[1] ?? 0) + (g.autocorrelation.y[1] ?? 0)) / 2));
  const k = scale + (1 - scale) * rho;
  return { ...g, table: g.table.map((row) => ({ ...row, sigma: row.sigma * k })) };
}

type StepOf<N extends RecipeStep['step']> = Extract<RecipeStep, { readonly step: N }>;
type Placement = StepOf<'ride'>['placement'];

function movedRide(s: StepOf<'ride'>, m: Mat3, scale: number): StepOf<'ride'> {
  const moved = (placement: Placement): Placement =>
    placement.map((p) => ({ frame: p.frame, matrix: multiply(m, p.matrix) }));
  return {
    ...s,
    placement: moved(s.placement),
    ...(s.layers === undefined ? {} : { layers: s.layers.map((l) => ({ ...l, placement: moved(l.placement) })) }),
    ...(s.view === undefined ? {} : { view: { ...s.view, plateFocalPx: s.view.plateFocalPx * scale } }),
  };
}

type Reflection = NonNullable<StepOf<'ground'>['reflection']>;

function movedReflection(r: Reflection, m: Mat3): Reflection {
  return {
    ...r,
    ...(r.region === undefined ? {} : { region: movedRegion(r.region, m) }),
    ...(r.base === undefined
      ? {}
      : {
          base: r.base.map((b) => ({
            frame: b.frame,
            line: [apply(m, ...b.line[0]), apply(m, ...b.line[1])] as const,
          })),
        }),
  };
}

function movedGround(s: StepOf<'ground'>, m: Mat3, scale: number, middle: readonly [number, number]): StepOf<'ground'> {
  const { onPerformer } = s;
  return {
    ...s,
    focalPx: s.focalPx * scale,
    principal: apply(m, ...(s.principal ?? middle)),
    frames: s.frames.map((f) => ({
      ...f,
      foot: apply(m, f.foot[0], f.foot[1]),
      pxPerMetre: f.pxPerMetre * scale,
    })),
    ...(s.receiverRegion === undefined ? {} : { receiverRegion: movedRegion(s.receiverRegion, m) }),
    ...(s.receiverSoftPx === undefined ? {} : { receiverSoftPx: s.receiverSoftPx * scale }),
    ...(s.receivers === undefined ? {} : { receivers: s.receivers.map((r) => movedReceiver(r, m)) }),
    ...(s.standing === undefined ? {} : { standing: s.standing.map((r) => movedRegion(r, m)) }),
    ...(s.lensPx === undefined ? {} : { lensPx: s.lensPx * scale }),
    ...(onPerformer === undefined
      ? {}
      : {
          onPerformer: {
            ...onPerformer,
            regions: onPerformer.regions.map((r) => movedRegion(r, m)),
            softPx: onPerformer.softPx * scale,
          },
        }),
    ...(s.reflection === undefined ? {} : { reflection: movedReflection(s.reflection, m) }),
  };
}

function movedFront(s: StepOf<'front'>, m: Mat3): StepOf<'front'> {
  const { pane } = s;
  return {
    ...s,
    region: s.region === null ? null : movedRegion(s.region, m),
    ...(s.also === undefined ? {} : { also: s.also.map((r) => movedRegion(r, m)) }),
    pane: pane === null ? null : { ...pane, region: pane.region === null ? null : movedRegion(pane.region, m) },
  };
}

/** The recipe in the pixels of the re-framed picture. Erase stays in the plate's own: it runs before. */
export function reframedRecipe(recipe: Recipe): Recipe {
  const widen = recipe.steps.find((s): s is WidenStep => s.step === 'widen' && s.on);
  if (widen === undefined) return recipe;
  const { widthPx: w, heightPx: h } = recipe.plate;
  const { matrix: m, scale } = reframeOf(widen, w, h);
  const steps = recipe.steps.map((s): RecipeStep => {
    switch (s.step) {
      case 'ride':
        return movedRide(s, m, scale);
      case 'ground':
        return movedGround(s, m, scale, [w / 2, h / 2]);
      case 'front':
        return movedFront(s, m);
      case 'air':
        return { ...s, softenPx: s.softenPx * scale, plateGrain: smallerGrain(s.plateGrain, scale) };
      case 'erase':
      case 'widen':
      case 'peel':
      case 'patch':
      case 'pace':
      case 'steady':
      case 'light':
        return s;
    }
  });
  return { ...recipe, steps };
}

/** A carrier of plate pixels as one of re-framed pixels. */
export function reframedCarrier(carrier: Carrier, matrix: Mat3): Carrier {
  const back = invert(matrix);
  const { progress } = carrier;
  return {
    at: (n) => multiply(multiply(matrix, carrier.at(n)), back),
    ...(progress === undefined
      ? {}
      : { progress: (n: number, near: readonly [number, number]) => progress(n, apply(back, near[0], near[1])) }),
  };
}
