/**
 * Runs over a join's frames, three held, and keeps what each says: movement and the outline on every frame, colours, edges and
 * shadow on some, grain where the recipe was rendered again.
 */
import { multiply } from '../geometry/mat3.js';
import { takeFrameOf } from '../join/performer-source.js';
import { steadyMatrix } from '../join/steady.js';
import { readTakeBorder } from './take-border.js';
import { STILL, type Carrier } from '../join/carrier.js';
import { frontOutlines } from '../join/front.js';
import { groundGeometry, type Box } from '../join/ground.js';
import { smallFrame } from '../join/outline/small-frame.js';
import type { Outline } from '../join/passing/outline-lines.js';
import { placementAt } from '../join/ride.js';
import type { GroundStep, Recipe, RecipeStep, StepName } from '../join/types.js';
import { pictureShift } from '../plate/look-shift.js';
import { readLightBeside } from './against-light.js';
import { readAgainstTake } from './against-take.js';
import { boxOfCell, outlineCells, readChatter, readSeenChatter, type OutlineCells } from './chatter.js';
import { readComb } from './comb.js';
import { readDirection } from './direction.js';
import { rimWidth, seenHardness } from './edge-slope.js';
import { readEdges } from './edges.js';
import { noiseOf, readFrontCut } from './front-cut.js';
import { grow, liftVeil, matteBox, type SeenFrame } from './frame.js';
import { followPatch } from './ground-follow.js';
import { NEARLY, SAME } from './limits.js';
import { readLevel } from './level.js';
import { readLevels } from './levels.js';
import { frameChange, matteShift, plateDifference, silhouettePlace } from './motion.js';
import { readOutlineBeside, readRimBeside } from './outline-beside.js';
import { readOutside } from './outside.js';
import type { Bare } from './reference.js';
import { readKeySide } from './key-side.js';
import { mendedMask, readSeam } from './seam.js';
import { readShadow } from './shadow.js';
import { readFineness } from './fineness.js';
import { readGrainBeside } from './grain-beside.js';
import { readHoles, readHolesAlone, readSolid, readThroughBeside } from './solid.js';
import { readSurround } from './surround.js';
import { measuredGrain, readGrain, type GrainMeasure } from './texture.js';
import type { Series } from './series.js';

/** Shift (px) up to which an outline lies on the recipe's. */
const LIES_ON = 0.35;

/** Runs over the frames and keeps what each says. */
/** A paw that stands on the take's border is cut by less than this, px. */
const LEAST_CUT = 8;

export class SeriesReader {
  readonly series: Series = { first: 0, frames: [], boxes: new Map(), readings: {}, change: [], planned: [], slipPlan: [], jitter: [], shift: [], against: [], followed: [], steps: [], outOfStep: [], outsideFaults: [], levels: [], gains: [], sides: [], cuts: [] };
  private readonly recipe: Recipe;
  private readonly every: number;
  private readonly erased: boolean;
  private readonly ground: GroundStep | null;
  private readonly keepsShadow: boolean;
  /** Null where no recipe says what the performer stood before. */
  private readonly screen: 'green' | 'blue' | null;
  /** The take is a picture used as it is: its own sides are its shape, no cut. */
  private readonly whole: boolean;
  private readonly fronts: boolean;
  /** The performer is behind a pane. */
  readonly veiled: boolean;
  private readonly veil: number;
  private readonly measure: GrainMeasure | null;
  private before: SeenFrame | null = null;
  private beforeThat: SeenFrame | null = null;
  private readonly outlines: (OutlineCells | null)[] = [];
  private slipped: [number, number] = [0, 0];

  /** Outlines of what passes on each frame. */
  private readonly passing: readonly ((frame: number) => Outline)[];

  /** @param carrier of the set, for outlines that go with it */
  constructor(recipe: Recipe, first: number, total: number, samples: number, erased: boolean, carrier?: Carrier) {
    this.recipe = recipe;
    this.every = Math.max(1, Math.floor(total / samples));
    this.erased = erased;
    const find = <N extends StepName>(n: N): Extract<RecipeStep, { step: N }> | null => recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === n && s.on) ?? null;
    this.ground = find('ground');
    this.keepsShadow = find('peel')?.keepShadow === true;
    const method = find('peel')?.method ?? 'none';
    this.whole = method === 'none' || method === 'alpha';
    this.screen = find('peel')?.screen ?? null;
    const front = find('front');
    this.fronts = front !== null && (front.region !== null || (front.also ?? []).length > 0);
    // Without the set's motion an outline of a few frames is not known on the others.
    this.passing = front === null || (carrier === undefined && [front.region, ...(front.also ?? [])].some((r) => r !== null && r.frames.length < total)) ? [] : frontOutlines(front, carrier ?? STILL).front;
    this.veiled = front !== null && front.pane !== null;
    this.veil = front?.pane?.veil ?? 0;
    const air = recipe.steps.find((s) => s.step === 'air');
    this.measure = air?.step === 'air' && air.plateGrain !== null && air.plateGrain.table.length > 0 ? measuredGrain(air.plateGrain) : null;
    this.series.first = first;
  }

  /** Planned place of the foot on a frame. */
  private foot(frame: number): [number, number] | null {
    const g = this.ground?.frames.find((f) => f.frame === frame);
    if (g !== undefined) return [g.foot[0], g.foot[1]];
    const ride = this.recipe.steps.find((s) => s.step === 'ride');
    if (ride?.step !== 'ride' || ride.placement.length === 0) return null;
    const m = placementAt(ride, frame), x = this.recipe.take.widthPx / 2, y = this.recipe.take.heightPx * 0.8, w = m[6] * x + m[7] * y + m[8];
    return [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w];
  }

  /** The longest straight cut by the take's border, as a share of the performer's height, and where. */
  private readBorder(f: SeenFrame): [number | null, Box?] {
    const ride = this.recipe.steps.find((s) => s.step === 'ride'), steady = this.recipe.steps.find((s) => s.step === 'steady'), front = this.recipe.steps.find((s) => s.step === 'front');
    if (f.box === null || ride?.step !== 'ride' || !ride.on || ride.placement.length === 0 || ride.layers !== undefined || this.whole) return [null];
    const toPlate = multiply(placementAt(ride, f.frame), steadyMatrix(steady?.step === 'steady' && steady.on ? steady : null, takeFrameOf(this.recipe, f.frame)));
    const window = front?.step === 'front' && front.within !== undefined ? front.within : ([0, 0, f.join.width, f.join.height] as const);
    const cut = readTakeBorder(f.matte, f.join.width, f.join.height, toPlate, [this.recipe.take.widthPx, this.recipe.take.heightPx], window, ride.view !== undefined);
    return cut === null || cut.lengthPx < LEAST_CUT ? [0] : [cut.lengthPx / Math.max(1, f.box[3] - f.box[1]), cut.at];
  }

  private put(matter: keyof Series['readings'], frame: number, value: number | null, box?: Box): void {
    if (value === null || !Number.isFinite(value)) return;
    (this.series.readings[matter] ??= []).push({ frame, value, ...(box === undefined ? {} : { box }) });
  }

  add(f: SeenFrame, bare: Bare | null): void {
    this.series.frames.push(f.frame);
    if (f.box !== null) this.series.boxes.set(f.frame, f.box);
    const close = (f.frame - this.series.first) % this.every === 0;
    if (close) this.readClosely(f);
    if (bare !== null && this.veiled) liftVeil(bare.expected.matte);
    if (bare !== null) {
      this.put('takeBlur', f.frame, readAgainstTake(f, bare.expected));
      this.readBeside(f, bare);
      if (bare.luma !== null && bare.explained >= SAME) {
        const own = readGrainBeside(f, bare.luma, bare.expected.luma.map((v) => bare.gain * v + bare.offset));
        this.put('grainBeside', f.frame, own?.ratio ?? null);
        this.put('grainAsked', f.frame, own?.asked ?? null);
        this.put('grainEncoder', f.frame, own?.encoder ?? null);
        this.put('grainSlope', f.frame, own?.slope ?? null);
        this.put('grainSlopeSd', f.frame, own?.slopeSd ?? null);
      }
      this.put('explained', f.frame, bare.explained);
    }
    const over = bare?.luma != null ? readGrain(f, bare.luma, this.measure) : null, plain = close && (over === null || bare!.explained < SAME) ? readGrain(f, null, this.measure) : null;
    // What a like picture leaves unexplained is grain and misfit together, as fur adds to grain without it: the less of the two is nearer.
    const grain = over !== null && plain !== null ? (plain.ratio < over.ratio ? plain : over) : over ?? plain;
    if (grain !== null) {
      this.put(grain.sure ? 'grain' : 'roughGrain', f.frame, grain.ratio);
      this.put(grain.sure ? 'grainOutside' : 'roughOutside', f.frame, grain.outside);
    }
    if (bare !== null && bare.explained >= SAME) this.series.against.push({ frame: f.frame, x: bare.shift[0], y: bare.shift[1] });
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
    this.outlines.push(outlineCells(f, this.foot(f.frame) ?? [0, 0], slip));
    if (this.outlines.length > 3) this.outlines.shift();
    const [a, b, c] = this.outlines;
    if (a == null || b == null || c == null) return;
    const seen = readSeenChatter(a, b, c);
    const foot = this.foot(f.frame - 1) ?? [0, 0];
    this.put('seenChatter', f.frame - 1, seen?.cells ?? null, seen === null ? undefined : boxOfCell(seen.at, foot));
    this.put('wholeChatter', f.frame - 1, seen?.whole ?? null);
  }

  /** What only the take through the recipe tells. */
  private readBeside(f: SeenFrame, { expected, explained, gain, offset, scale, shift }: Bare): void {
    const light = readLightBeside(f, expected, explained >= SAME), { width: W, height: H } = f.join;
    this.put('exposure', f.frame, light?.stops ?? null);
    this.put('lightRed', f.frame, light?.red ?? null);
    this.put('lightBlue', f.frame, light?.blue ?? null);
    this.put('veil', f.frame, light?.veil ?? null);
    this.put('shade', f.frame, light?.shade ?? null);
    this.put('saturation', f.frame, light?.saturation ?? null);
    this.put('takeBlack', f.frame, light?.black ?? null);
    this.put('takeWhite', f.frame, light?.white ?? null);
    const box = matteBox(expected.matte, W, H);
    if (f.box === null || box === null) return;
    this.put('takeThrough', f.frame, explained < SAME ? null : readThroughBeside(f, expected));
    const edge = readRimBeside(f, expected, this.screen ?? 'green');
    this.put('spillBeside', f.frame, edge?.screen ?? null);
    this.put('rimLight', f.frame, edge?.light ?? null);
    // A slip shifts every rim, and is its own matter.
    if (explained >= SAME && Math.hypot(...shift) < LIES_ON) {
      const outline = readOutlineBeside(f, expected);
      this.put('rimBeside', f.frame, outline?.rim ?? null);
      this.put('beyondBeside', f.frame, outline?.beyond ?? null);
      this.put('coverBeside', f.frame, outline?.cover ?? null);
    }
    const soft = readDirection(f, expected);
    this.put('softAlong', f.frame, soft?.along ?? null);
    this.put('softAcross', f.frame, soft?.across ?? null);
    this.put('softDeg', f.frame, soft?.deg ?? null);
    const holes = explained < NEARLY ? null : readHoles(f, expected, gain, offset);
    this.put('holes', f.frame, holes?.share ?? null, holes?.at);
    const rim = rimWidth(f.matte, W, H, f.box), own = rimWidth(expected.matte, W, H, box);
    this.put('rim', f.frame, rim === null || own === null ? null : rim / own);
    let here = 0, there = 0;
    for (let i = 0; i < f.matte.length; i++) { here += f.matte[i]!; there += expected.matte[i]!; }
    // Cut by the picture's border or hidden, less is seen of either.
    const cut = box[0] <= 1 || box[1] <= 1 || box[2] >= W - 1 || box[3] >= H - 1;
    if (scale !== 1) this.put('size', f.frame, scale);
    else if (!cut && !this.fronts && there > 400) this.put('size', f.frame, Math.sqrt(here / there));
    const foot = this.ground === null || this.keepsShadow || scale !== 1 ? null : this.foot(f.frame), about = foot === null ? null : readSurround(f, expected, foot);
    this.put('contact', f.frame, about?.contact ?? null);
    this.put('thrownBack', f.frame, about?.thrownBack ?? null);
    this.put('shadowTint', f.frame, about?.tint ?? null);
  }

  private readClosely(f: SeenFrame): void {
    const outside = this.erased ? null : readOutside(f);
    this.put('outside', f.frame, outside?.change ?? null);
    this.put('outsidePart', f.frame, outside?.part ?? null);
    if (outside !== null) this.series.outsideFaults.push({ fault: outside.fault, stops: outside.stops });
    this.put('takeBorder', f.frame, ...this.readBorder(f));
    const solid = readSolid(f);
    this.put('through', f.frame, solid?.through ?? null);
    this.put('throughSd', f.frame, solid?.sd ?? null);
    const holes = readHolesAlone(f);
    this.put('holesAlone', f.frame, holes?.share ?? null, holes?.at);
    this.put('edgeHardness', f.frame, seenHardness(f));
    if (this.passing.length > 0 && f.box !== null) this.readCuts(f);
    const comb = readComb(f);
    this.put('comb', f.frame, comb.outside);
    this.put('combInside', f.frame, comb.inside);
    const green = readEdges(f, this.screen ?? 'green'), blue = this.screen === null ? readEdges(f, 'blue') : null, edges = green !== null && blue !== null && blue.spill > green.spill ? blue : green;
    this.put('spill', f.frame, edges === null ? null : 100 * edges.spill, edges?.spillAt);
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
      const seam = readSeam(f.luma, mendedMask(f.asFilmed, f.plateLuma, f.join.width, f.join.height), f.join.width, f.join.height, (i) => f.matte[i]! > 0.01);
      this.put('seam', f.frame, seam?.step ?? null, seam?.at);
    }
    if (this.ground !== null) {
      // A shadow kept from the take falls as its own lamp threw it.
      const s = this.keepsShadow ? null : readShadow(f, this.ground, this.veil);
      this.put('shadow', f.frame, s?.offDeg ?? null, s?.at);
      this.put('shadowTurn', f.frame, s?.turnDeg ?? null);
      this.put('shadowStops', f.frame, s === null || s.offDeg > 90 ? null : s.stops);
      const at = this.ground.frames.find((g) => g.frame === f.frame);
      const key = at !== undefined && this.ground.shadow ? groundGeometry(this.ground, at, f.join.width, f.join.height).light : null;
      const side = key === null ? null : readKeySide(f, key);
      if (side !== null) this.series.sides.push({ from: side.from, key: [key![0], key![1]] });
      this.put('light', f.frame, side?.offDeg ?? null);
      this.put('lightUnlike', f.frame, side?.unlike ?? null);
    }
  }

  private readCuts(f: SeenFrame): void {
    const plate = smallFrame(f.plate, 1), { width: W, height: H } = plate, noise = noiseOf(plate), seen = (x: number, y: number): boolean => x >= 0 && y >= 0 && x < W && y < H && f.matte[Math.floor(y) * W + Math.floor(x)]! > 0.5;
    this.passing.forEach((outline, thing) => { const sides = readFrontCut(plate, outline(f.frame), seen, noise); if (sides.length > 0) this.series.cuts.push({ frame: f.frame, thing, sides }); });
  }

  private readMovement(f: SeenFrame, b: SeenFrame): void {
    const { width: W, height: H } = f.join;
    const here = this.foot(f.frame), there = this.foot(b.frame);
    const move: [number, number] = here === null || there === null ? [0, 0] : [here[0] - there[0], here[1] - there[1]];
    if ((f.frame - this.series.first) % this.every === 0) { const s = pictureShift(b.plateLuma, f.plateLuma, W, H); this.series.steps.push(Math.hypot(s.dx, s.dy)); }
    const change = frameChange(f, b, move);
    const N = W * H;
    let own = 0, count = 0;
    for (let i = 0; i < N; i += 7) { own += Math.abs(f.plateLuma[i]! - b.plateLuma[i]!); count++; }
    this.series.change.push({ frame: f.frame, inside: change.inside, outside: change.outside, plate: own / count });
    if (!this.erased) {
      const same = plateDifference(f, f), last = this.series.outOfStep[this.series.outOfStep.length - 1];
      this.series.outOfStep.push({ frame: f.frame, same, before: plateDifference(f, b), sameBefore: last?.frame === b.frame ? last.same : plateDifference(b, b), after: plateDifference(b, f) });
    }
    if (here !== null && there !== null && this.ground?.receiver === 'ground' && f.box !== null && !this.fronts) {
      const half = Math.max(10, Math.min(40, 0.22 * (f.box[2] - f.box[0])));
      const low: [number, number] = [there[0], Math.min(H - half - 6, there[1] + 0.4 * half)];
      // The patch lies below the foot: as the ground grows in the picture it moves on by more than the foot does.
      const scale = (n: number): number => this.ground!.frames.find((g) => g.frame === n)?.pxPerMetre ?? 1;
      const k = scale(f.frame) / scale(b.frame);
      const guess: [number, number] = [move[0] + (k - 1) * (low[0] - there[0]), move[1] + (k - 1) * (low[1] - there[1])];
      const found = followPatch(b.plateLuma, f.plateLuma, W, H, low, half, guess);
      // Followed back it must come home, or it followed something else.
      const back = found === null ? null : followPatch(f.plateLuma, b.plateLuma, W, H, [low[0] + found[0], low[1] + found[1]], half, [-found[0], -found[1]]);
      this.series.followed.push(found !== null && back !== null && Math.hypot(found[0] + back[0], found[1] + back[1]) < 0.15);
      if (this.series.followed[this.series.followed.length - 1] === true) this.slipped = [this.slipped[0] + found![0] - guess[0], this.slipped[1] + found![1] - guess[1]];
      this.series.slipPlan.push({ frame: f.frame, x: this.slipped[0], y: this.slipped[1] });
    }
    const bb = this.beforeThat;
    if (bb !== null && bb.box !== null && b.box !== null && f.box !== null) {
      const first = this.foot(bb.frame);
      const m0: [number, number] = there === null || first === null ? [0, 0] : [there[0] - first[0], there[1] - first[1]];
      const box = grow(b.box, 3, 3, W, H);
      const a = shifted(bb.matte, W, H, m0, box), c = shifted(f.matte, W, H, [-move[0], -move[1]], box);
      this.put('chatter', b.frame, readChatter(a, b.matte, c, box, W, there ?? [0, 0]));
      if (!this.fronts) {
        const p = [bb, b, f].map((s) => silhouettePlace(s.matte, s.box!, W)) as [[number, number], [number, number], [number, number]];
        const jx = p[1][0] - (p[0][0] + m0[0] + p[2][0] - move[0]) / 2, jy = p[1][1] - (p[0][1] + m0[1] + p[2][1] - move[1]) / 2;
        this.series.jitter.push({ frame: b.frame, x: jx, y: jy, plain: [jx + (m0[0] - move[0]) / 2, jy + (m0[1] - move[1]) / 2] });
      }
    }
  }

  finish(): void {
    this.series.planned.push(...this.series.frames.map((n) => paceStep(this.recipe, n)));
  }
}

/** How many take frames the recipe moves on from the frame before to this one; 1 without a curve. */
function paceStep(recipe: Recipe, frame: number): number {
  const pace = recipe.steps.find((s) => s.step === 'pace');
  if (pace?.step !== 'pace' || !pace.on) return 1;
  const i = frame - recipe.plate.in;
  return i <= 0 || i >= pace.curve.length ? 1 : pace.curve[i]! - pace.curve[i - 1]!;
}

/** A plane moved by a fraction of pixels, bilinear; filled in the box only. */
function shifted(src: Float32Array, width: number, height: number, by: readonly [number, number], box: readonly [number, number, number, number]): Float32Array {
  if (by[0] === 0 && by[1] === 0) return src;
  const out = new Float32Array(width * height);
  const ix = Math.floor(-by[0]), iy = Math.floor(-by[1]), tx = -by[0] - ix, ty = -by[1] - iy;
  const w00 = (1 - tx) * (1 - ty), w10 = tx * (1 - ty), w01 = (1 - tx) * ty, w11 = tx * ty;
  for (let y = box[1]; y < box[3]; y++) {
    const y0 = Math.min(height - 1, Math.max(0, y + iy)) * width, y1 = Math.min(height - 1, Math.max(0, y + iy + 1)) * width;
    for (let x = box[0]; x < box[2]; x++) {
      const x0 = Math.min(width - 1, Math.max(0, x + ix)), x1 = Math.min(width - 1, Math.max(0, x + ix + 1));
      out[y * width + x] = w00 * src[y0 + x0]! + w10 * src[y0 + x1]! + w01 * src[y1 + x0]! + w11 * src[y1 + x1]!;
    }
  }
  return out;
}
