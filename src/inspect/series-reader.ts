/**
 * Runs over a join's frames, three held, and keeps what each says: movement and the outline on every frame, colours, edges and
 * shadow on some, grain where the recipe was rendered again.
 */
import { STILL, type Carrier } from '../join/carrier.js';
import { frontOutlines } from '../join/front.js';
import { groundGeometry } from '../join/ground.js';
import { smallFrame } from '../join/outline/small-frame.js';
import type { Outline } from '../join/passing/outline-lines.js';
import type { GroundStep, Recipe, RecipeStep, StepName } from '../join/types.js';
import { pictureShift } from '../plate/look-shift.js';
import { readBeside } from './beside-reader.js';
import { boxOfCell, outlineCells, readChatter, readSeenChatter, type OutlineCells } from './chatter.js';
import { readComb, type CombSlope } from './comb.js';
import { seenHardness } from './edge-slope.js';
import { readEdges } from './edges.js';
import { noiseOf, readFrontCut } from './front-cut.js';
import { grow, liftVeil, type SeenFrame } from './frame.js';
import { followPatch } from './ground-follow.js';
import { readHalo } from './halo.js';
import { SAME } from './limits.js';
import { readLevel } from './level.js';
import { readLevels } from './levels.js';
import { frameChange, matteShift, movedPlane, silhouettePlace } from './motion.js';
import { readOutside } from './outside.js';
import { paceStep, plannedFoot, plannedGroundMove } from './planned.js';
import { RemainsReader } from './remains-reader.js';
import type { Bare } from './reference.js';
import { readKeySide } from './key-side.js';
import { mendedMask, readSeam } from './seam.js';
import { readShadow } from './shadow.js';
import { readFineness } from './fineness.js';
import { SeeThroughReader } from './see-through.js';
import { readHolesAlone } from './solid.js';
import { readStep } from './step.js';
import { borderShare } from './take-border-share.js';
import { measuredGrain, readGrain, type GrainMeasure } from './texture.js';
import type { Put, Series } from './series.js';

/** Runs over the frames and keeps what each says. */
export class SeriesReader {
  readonly series: Series = {
    first: 0,
    through: null,
    remains: null,
    frames: [],
    boxes: new Map(),
    readings: {},
    change: [],
    planned: [],
    slipPlan: [],
    jitter: [],
    shift: [],
    against: [],
    followed: [],
    steps: [],
    inStep: [],
    outsideFaults: [],
    levels: [],
    gains: [],
    sides: [],
    cuts: [],
  };
  private readonly recipe: Recipe;
  private readonly every: number;
  private readonly erased: boolean;
  private readonly ground: GroundStep | null;
  private readonly keepsShadow: boolean;
  /** Null where no recipe says what the performer stood before. */
  private readonly screen: 'green' | 'blue' | null;
  private readonly fronts: boolean;
  /** The performer is behind a pane. */
  readonly veiled: boolean;
  private readonly veil: number;
  private readonly measure: GrainMeasure | null;
  private before: SeenFrame | null = null;
  private beforeThat: SeenFrame | null = null;
  private readonly outlines: (OutlineCells | null)[] = [];
  private slipped: [number, number] = [0, 0];
  private readonly through = new SeeThroughReader();
  private readonly remains: RemainsReader;

  /** Outlines of what passes on each frame. */
  private readonly passing: readonly ((frame: number) => Outline)[];

  /** @param carrier of the set, for outlines that go with it */
  constructor(recipe: Recipe, first: number, total: number, samples: number, erased: boolean, carrier?: Carrier) {
    this.recipe = recipe;
    this.every = Math.max(1, Math.floor(total / samples));
    this.erased = erased;
    const find = <N extends StepName>(n: N): Extract<RecipeStep, { step: N }> | null =>
      recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === n && s.on) ?? null;
    this.ground = find('ground');
    this.keepsShadow = find('peel')?.keepShadow === true;
    this.screen = find('peel')?.screen ?? null;
    const front = find('front');
    this.fronts = front !== null && (front.region !== null || (front.also ?? []).length > 0);
    // Without the set's motion an outline of a few frames is not known on the others.
    this.passing =
      front === null ||
      (carrier === undefined &&
        [front.region, ...(front.also ?? [])].some((r) => r !== null && r.frames.length < total))
        ? []
        : frontOutlines(front, carrier ?? STILL).front;
    this.veiled = front !== null && front.pane !== null;
    this.veil = front?.pane?.veil ?? 0;
    const air = recipe.steps.find((s) => s.step === 'air');
    this.measure =
      air?.step === 'air' && air.plateGrain !== null && air.plateGrain.table.length > 0
        ? measuredGrain(air.plateGrain)
        : null;
    this.series.first = first;
    this.remains = new RemainsReader(recipe, first, total, carrier);
  }

  private readonly put: Put = (matter, frame, value, box) => {
    if (value === null || !Number.isFinite(value)) return;
    (this.series.readings[matter] ??= []).push({ frame, value, ...(box === undefined ? {} : { box }) });
  };

  add(f: SeenFrame, bare: Bare | null): void {
    this.series.frames.push(f.frame);
    if (f.box !== null) this.series.boxes.set(f.frame, f.box);
    const close = (f.frame - this.series.first) % this.every === 0;
    if (close) this.readClosely(f);
    this.remains.add(f);
    if (bare !== null && this.veiled) liftVeil(bare.expected.matte);
    if (bare !== null) this.remains.asked(f, bare.expected);
    if (bare !== null)
      readBeside(
        f,
        bare,
        {
          screen: this.screen,
          fronts: this.fronts,
          ground: this.keepsShadow ? null : this.ground,
          foot: plannedFoot(this.recipe, f.frame),
        },
        this.put,
      );
    const over = bare?.luma != null ? readGrain(f, bare.luma, this.measure) : null,
      plain = close && (over === null || bare!.explained < SAME) ? readGrain(f, null, this.measure) : null;
    // What a like picture leaves unexplained is grain and misfit together, as fur adds to grain without it: the less of the two is nearer.
    const grain = over !== null && plain !== null ? (plain.ratio < over.ratio ? plain : over) : (over ?? plain);
    if (grain !== null) {
      this.put(grain.sure ? 'grain' : 'roughGrain', f.frame, grain.ratio);
      this.put(grain.sure ? 'grainOutside' : 'roughOutside', f.frame, grain.outside);
    }
    if (bare !== null && bare.explained >= SAME)
      this.series.against.push({ frame: f.frame, x: bare.shift[0], y: bare.shift[1] });
    const level = readLevel(f);
    if (level !== null) this.series.levels.push({ frame: f.frame, ...level });
    const shift = matteShift(f);
    if (shift !== null) this.series.shift.push({ frame: f.frame, x: shift[0], y: shift[1] });
    this.readOutline(f, shift ?? [0, 0]);
    const b = this.before;
    if (b !== null) this.readMovement(f, b);
    this.beforeThat = b;
    this.before = f;
  }

  /** The outline as seen, three frames side by side; the middle one's chatter. */
  private readOutline(f: SeenFrame, slip: readonly [number, number]): void {
    this.outlines.push(outlineCells(f, plannedFoot(this.recipe, f.frame) ?? [0, 0], slip));
    if (this.outlines.length > 3) this.outlines.shift();
    const [a, b, c] = this.outlines;
    if (a == null || b == null || c == null) return;
    const seen = readSeenChatter(a, b, c);
    const foot = plannedFoot(this.recipe, f.frame - 1) ?? [0, 0];
    this.put('seenChatter', f.frame - 1, seen?.cells ?? null, seen === null ? undefined : boxOfCell(seen.at, foot));
    this.put('wholeChatter', f.frame - 1, seen?.whole ?? null);
  }

  private readClosely(f: SeenFrame): void {
    const outside = this.erased ? null : readOutside(f);
    this.put('outside', f.frame, outside?.change ?? null);
    this.put('outsidePart', f.frame, outside?.part ?? null);
    if (outside !== null) this.series.outsideFaults.push({ fault: outside.fault, stops: outside.stops });
    const cut = borderShare(this.recipe, f);
    this.put('takeBorder', f.frame, cut?.share ?? null, cut?.at);
    this.put('through', f.frame, this.through.add(f));
    const holes = readHolesAlone(f);
    this.put('holesAlone', f.frame, holes?.share ?? null, holes?.at);
    this.put('edgeHardness', f.frame, seenHardness(f));
    const halo = readHalo(f);
    this.put('haloRim', f.frame, halo?.rim ?? null);
    this.put('haloBeyond', f.frame, halo?.beyond ?? null);
    if (this.passing.length > 0 && f.box !== null) this.readCuts(f);
    const green = readEdges(f, this.screen ?? 'green'),
      blue = this.screen === null ? readEdges(f, 'blue') : null,
      edges = green !== null && blue !== null && blue.spill > green.spill ? blue : green;
    this.put('spill', f.frame, edges === null ? null : 100 * edges.spill, edges?.spillAt);
    this.put('spillSet', f.frame, edges === null ? null : 100 * edges.set);
    this.put('edgeLightness', f.frame, edges?.lightness ?? null, edges?.lightAt);
    this.put('blur', f.frame, readFineness(f));
    const levels = readLevels(f);
    this.put('blackLevel', f.frame, levels?.black ?? null);
    this.put('whiteLevel', f.frame, levels?.white ?? null);
    this.put('colour', f.frame, levels?.colour ?? null);
    this.put('blackLinear', f.frame, levels?.blackLinear ?? null);
    this.put('whiteStops', f.frame, levels?.whiteStops ?? null);
    this.put('whiteRoom', f.frame, levels?.room ?? null);
    this.put('whiteFull', f.frame, levels?.full ?? null);
    if (levels !== null) this.series.gains.push(levels.gain);
    if (f.asFilmed !== undefined) {
      const seam = readSeam(
        f.luma,
        mendedMask(f.asFilmed, f.plateLuma, f.join.width, f.join.height),
        f.join.width,
        f.join.height,
        (i) => f.matte[i]! > 0.01,
      );
      this.put('seam', f.frame, seam?.step ?? null, seam?.at);
    }
    if (this.ground !== null) {
      // A shadow kept from the take falls as its own lamp threw it.
      const s = this.keepsShadow ? null : readShadow(f, this.ground, this.veil);
      this.put('shadow', f.frame, s?.offDeg ?? null, s?.at);
      this.put('shadowTurn', f.frame, s?.turnDeg ?? null);
      this.put('shadowStops', f.frame, s === null || s.offDeg > 90 ? null : s.stops);
      const at = this.ground.frames.find((g) => g.frame === f.frame);
      const key =
        at !== undefined && this.ground.shadow
          ? groundGeometry(this.ground, at, f.join.width, f.join.height).light
          : null;
      const side = key === null ? null : readKeySide(f, key);
      if (side !== null) this.series.sides.push({ from: side.from, key: [key![0], key![1]] });
      this.put('light', f.frame, side?.offDeg ?? null);
      this.put('lightUnlike', f.frame, side?.unlike ?? null);
    }
  }

  private readCuts(f: SeenFrame): void {
    const plate = smallFrame(f.plate, 1),
      { width: W, height: H } = plate,
      noise = noiseOf(plate),
      seen = (x: number, y: number): boolean =>
        x >= 0 && y >= 0 && x < W && y < H && f.matte[Math.floor(y) * W + Math.floor(x)]! > 0.5;
    this.passing.forEach((outline, thing) => {
      const sides = readFrontCut(plate, outline(f.frame), seen, noise);
      if (sides.length > 0) this.series.cuts.push({ frame: f.frame, thing, sides });
    });
  }

  private readMovement(f: SeenFrame, b: SeenFrame): void {
    const { width: W, height: H } = f.join;
    const here = plannedFoot(this.recipe, f.frame),
      there = plannedFoot(this.recipe, b.frame);
    const move: [number, number] = here === null || there === null ? [0, 0] : [here[0] - there[0], here[1] - there[1]];
    if ((f.frame - this.series.first) % this.every === 0) {
      const s = pictureShift(b.plateLuma, f.plateLuma, W, H);
      this.series.steps.push(Math.hypot(s.dx, s.dy));
    }
    const change = frameChange(f, b, move);
    const N = W * H;
    let own = 0,
      count = 0;
    for (let i = 0; i < N; i += 7) {
      own += Math.abs(f.plateLuma[i]! - b.plateLuma[i]!);
      count++;
    }
    this.series.change.push({ frame: f.frame, inside: change.inside, outside: change.outside, plate: own / count });
    // Frames looked at singly say nothing of what one adds to the other.
    if (f.frame === b.frame + 1) {
      const step = this.erased ? null : readStep(b, f),
        comb = readComb(b, f);
      if (step !== null) this.series.inStep.push({ frame: f.frame, before: step.before, after: step.after });
      this.put('comb', f.frame, sure(comb.outside));
      this.put('combInside', f.frame, sure(comb.inside));
    }
    if (
      here !== null &&
      there !== null &&
      this.ground?.receiver === 'ground' &&
      f.box !== null &&
      (!this.fronts || this.passing.length > 0)
    ) {
      const half = Math.max(10, Math.min(40, 0.22 * (f.box[2] - f.box[0])));
      const low: [number, number] = [there[0], Math.min(H - half - 6, there[1] + 0.4 * half)],
        guess = plannedGroundMove(this.recipe, this.ground, b.frame, f.frame, low);
      // What passes there goes its own way; such frames tell nothing.
      if (
        [f, b].some((s) =>
          this.passing.some((outline) =>
            reaches(outline(s.frame), s === b ? low : [low[0] + move[0], low[1] + move[1]], half + PASSING_ROOM),
          ),
        )
      )
        return this.readOutlineMoves(f, b, here, there, move);
      const found = followPatch(b.plateLuma, f.plateLuma, W, H, low, half, guess);
      // Followed back it must come home, or it followed something else.
      const back =
        found === null
          ? null
          : followPatch(f.plateLuma, b.plateLuma, W, H, [low[0] + found[0], low[1] + found[1]], half, [
              -found[0],
              -found[1],
            ]);
      this.series.followed.push(
        found !== null && back !== null && Math.hypot(found[0] + back[0], found[1] + back[1]) < 0.15,
      );
      if (this.series.followed[this.series.followed.length - 1] === true)
        this.slipped = [this.slipped[0] + found![0] - guess[0], this.slipped[1] + found![1] - guess[1]];
      this.series.slipPlan.push({ frame: f.frame, x: this.slipped[0], y: this.slipped[1] });
    }
    this.readOutlineMoves(f, b, here, there, move);
  }

  private readOutlineMoves(
    f: SeenFrame,
    b: SeenFrame,
    here: readonly [number, number] | null,
    there: readonly [number, number] | null,
    move: readonly [number, number],
  ): void {
    const { width: W, height: H } = f.join,
      bb = this.beforeThat;
    if (bb !== null && bb.box !== null && b.box !== null && f.box !== null) {
      const first = plannedFoot(this.recipe, bb.frame);
      const m0: [number, number] =
        there === null || first === null ? [0, 0] : [there[0] - first[0], there[1] - first[1]];
      const box = grow(b.box, 3, 3, W, H);
      const a = movedPlane(bb.matte, W, H, m0, box),
        c = movedPlane(f.matte, W, H, [-move[0], -move[1]], box);
      this.put('chatter', b.frame, readChatter(a, b.matte, c, box, W, there ?? [0, 0]));
      if (!this.fronts) {
        const p = [bb, b, f].map((s) => silhouettePlace(s.matte, s.box!, W)) as [
          [number, number],
          [number, number],
          [number, number],
        ];
        const jx = p[1][0] - (p[0][0] + m0[0] + p[2][0] - move[0]) / 2,
          jy = p[1][1] - (p[0][1] + m0[1] + p[2][1] - move[1]) / 2;
        this.series.jitter.push({
          frame: b.frame,
          x: jx,
          y: jy,
          plain: [jx + (m0[0] - move[0]) / 2, jy + (m0[1] - move[1]) / 2],
        });
      }
    }
  }

  finish(): void {
    this.series.through = this.through.result();
    this.series.remains = this.remains.result();
    for (const r of this.series.remains?.frames ?? [])
      this.put('remains', r.frame, r.stain === null ? null : Math.abs(r.stain), r.at ?? undefined);
    this.series.planned.push(...this.series.frames.map((n) => paceStep(this.recipe, n)));
  }
}

/** Px kept between what passes and the ground that is followed: its shadow, and a patch that moves a little. */
const PASSING_ROOM = 6;

/** Whether an outline's box reaches a square about a place. */
function reaches(
  outline: readonly (readonly [number, number])[],
  at: readonly [number, number],
  half: number,
): boolean {
  const xs = outline.map((p) => p[0]),
    ys = outline.map((p) => p[1]);
  return (
    Math.min(...xs) < at[0] + half &&
    Math.max(...xs) > at[0] - half &&
    Math.min(...ys) < at[1] + half &&
    Math.max(...ys) > at[1] - half
  );
}

/** How far a slope lies from nought, where that is more than chance. */
function sure(c: CombSlope | null): number | null {
  return c === null ? null : Math.abs(c.slope) > 3 * c.sd ? Math.abs(c.slope) : 0;
}
