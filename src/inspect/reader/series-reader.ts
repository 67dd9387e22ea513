/**
 * Runs over a join's frames, three held, and keeps what each says: movement and the outline on every frame, colours,
 * edges and shadow on some, grain where the recipe was rendered again.
 */
import type { Carrier } from '../../join/ride/carrier.js';
import type { LightStep, Recipe } from '../../join/types.js';
import { LightAlong } from '../../plate/light/light-along.js';
import { lightAt, type LightOverShot } from '../../plate/light/light-over-shot.js';
import { readBeside } from './beside-reader.js';
import { boxOfCell, outlineCells, readSeenChatter, type OutlineCells } from '../edge/chatter.js';
import { PlaceByMatte } from '../edge/own-way.js';
import { liftVeil, quantile, type SeenFrame } from './frame.js';
import { clipsInFlash, coreSeen, darkerHalf, readLevel } from '../light/level.js';
import { SAME } from '../limits.js';
import { matteShift } from '../movement/motion.js';
import type { PictureLaneData } from './picture-lane.js';
import { PictureReader } from './picture-reader.js';
import { paceStep, plannedFoot } from '../movement/planned.js';
import { recipeFacts, type RecipeFacts } from './recipe-facts.js';
import type { Bare } from './reference.js';
import { RemainsReader } from '../remains/remains-reader.js';
import type { Outline } from '../../join/passing/outline-lines.js';
import { addSeries, emptySeries, putInto, type Put, type Series } from './series.js';
import { readGrain, type GrainReading } from '../texture/texture.js';

/** Runs over the frames and keeps what each says. */
export class SeriesReader {
  readonly series: Series;
  private readonly facts: RecipeFacts;
  private readonly every: number;
  private readonly outlines: { readonly cells: OutlineCells | null; readonly at: readonly [number, number] }[] = [];
  private readonly place = new PlaceByMatte();
  private readonly remains: RemainsReader;
  private readonly pictures: PictureReader;
  /** What a picture lane has to know. */
  readonly laneData: PictureLaneData;
  private readonly put: Put;
  private readonly overShot: LightOverShot | undefined;
  private readonly along = new LightAlong();
  /** A flash clips whites: brightness is read of the performer's darker half. */
  private readonly darker: boolean;

  /**
   * `first`: the join's first frame in the plate; `samples`: frames read closely of `total`; `erased`: the plate was
   * mended and its mended frames are not at hand; `carrier`: of the set, for outlines that go with it.
   */
  constructor(recipe: Recipe, first: number, total: number, samples: number, erased: boolean, carrier?: Carrier) {
    this.series = emptySeries(first);
    this.overShot = recipe.steps.find((s): s is LightStep => s.step === 'light' && s.on)?.overShot;
    this.darker = clipsInFlash(this.overShot);
    this.every = Math.max(1, Math.round(total / samples));
    this.facts = recipeFacts(recipe, total, carrier);
    this.remains = new RemainsReader(recipe, first, total, carrier);
    this.put = putInto(this.series);
    this.pictures = new PictureReader({ facts: this.facts, erased, first, total, every: this.every });
    this.laneData = { recipe, first, total, every: this.every, erased, things: this.facts.passing.length };
  }

  /** The performer is behind a pane. */
  get veiled(): boolean {
    return this.facts.veiled;
  }

  /** Outlines of what passes on a frame. */
  passingOn(frame: number): Outline[] {
    return this.facts.passing.map((outline) => outline(frame));
  }

  /** Frames in their order. `bare`: the recipe rendered again on this frame, where it was. */
  add(f: SeenFrame, bare: Bare | null): void {
    this.pictures.add(f);
    this.addBeside(f, bare);
  }

  /** All of `add` but what the pictures tell by themselves, which is read elsewhere and given to `finish`. */
  addBeside(f: SeenFrame, bare: Bare | null): void {
    this.series.frames.push(f.frame);
    if (f.box !== null) this.series.boxes.set(f.frame, f.box);
    const close = (f.frame - this.series.first) % this.every === 0;
    this.remains.add(f);
    if (bare !== null) this.readAgain(f, bare);
    this.putGrain(f, this.grainOf(f, bare, close));
    if (bare !== null && bare.explained >= SAME)
      this.series.against.push({ frame: f.frame, x: bare.shift[0], y: bare.shift[1] });
    const level = readLevel(f, lightAt(this.overShot, f.frame), this.darker);
    const core = coreSeen(f);
    if (level !== null) this.series.levels.push({ frame: f.frame, ...level, core });
    const film = this.along.add(f.plateLuma, f.join.width, f.join.height),
      inside = film === null ? null : darkerHalf(f);
    if (film !== null && inside !== null) this.series.filmLight.push({ frame: f.frame, plate: film, inside });
    const shift = matteShift(f);
    if (shift !== null) this.series.shift.push({ frame: f.frame, x: shift[0], y: shift[1], core });
    this.readOutline(f, shift ?? [0, 0]);
  }

  /** What only the take through the recipe tells. */
  private readAgain(f: SeenFrame, bare: Bare): void {
    const { recipe, screen, fronts, ground, keepsShadow, veiled } = this.facts;
    if (veiled) liftVeil(bare.expected.matte);
    this.remains.asked(f, bare.expected);
    const foot = plannedFoot(recipe, f.frame);
    readBeside(f, bare, { screen, fronts, ground: keepsShadow ? null : ground, foot }, this.put);
  }

  /**
   * Over the bare join where that is at hand, by itself where the frame is read closely and the bare join is another
   * picture.
   */
  private grainOf(f: SeenFrame, bare: Bare | null, close: boolean): GrainReading | null {
    const over = bare?.luma != null ? readGrain(f, bare.luma, this.facts.measure) : null,
      plain = close && (over === null || bare!.explained < SAME) ? readGrain(f, null, this.facts.measure) : null;
    // What a like picture leaves unexplained is grain and misfit together, as fur adds to grain without it: the less of
    // the two is nearer.
    return over !== null && plain !== null ? (plain.ratio < over.ratio ? plain : over) : (over ?? plain);
  }

  private putGrain(f: SeenFrame, grain: GrainReading | null): void {
    if (grain === null) return;
    this.put(grain.sure ? 'grain' : 'roughGrain', f.frame, grain.ratio);
    this.put(grain.sure ? 'grainOutside' : 'roughOutside', f.frame, grain.outside);
  }

  /** The outline as seen, three frames side by side; the middle one's chatter. */
  private readOutline(f: SeenFrame, slip: readonly [number, number]): void {
    // Without a plan the cells go with the matte: one that moves over cells that stand would pass for chatter.
    const at = plannedFoot(this.facts.recipe, f.frame) ?? this.place.of(f.matte, f.box, [f.join.width, f.join.height]);
    this.outlines.push({ cells: outlineCells(f, at, slip), at });
    if (this.outlines.length > 3) this.outlines.shift();
    const [a, b, c] = this.outlines;
    if (a?.cells == null || b?.cells == null || c?.cells == null) return;
    const seen = readSeenChatter(a.cells, b.cells, c.cells);
    this.put('seenChatter', f.frame - 1, seen?.cells ?? null, seen === null ? undefined : boxOfCell(seen.at, b.at));
    this.put('wholeChatter', f.frame - 1, seen?.whole ?? null);
  }

  /** What is told of all frames together. `pictures`: what a picture lane read of them. */
  finish(pictures: Series = this.pictures.result()): void {
    addSeries(this.series, pictures);
    this.series.remains = this.remains.result(quantile(this.series.steps, 0.5));
    for (const r of this.series.remains?.frames ?? [])
      this.put('remains', r.frame, r.stain === null ? null : Math.abs(r.stain), r.at);
    this.series.planned.push(...this.series.frames.map((n) => paceStep(this.facts.recipe, n)));
  }
}
