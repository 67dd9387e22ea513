/**
 * Reads what single pictures tell of a frame: edges, colours, levels, holes, the shadow and the light's side, and where
 * what passes cuts the performer.
 */
import { groundGeometry } from '../../join/ground/ground-geometry.js';
import { smallFrame } from '../../join/outline/small-frame.js';
import { readCast } from '../light/cast.js';
import { readEdges, type EdgeReading } from '../edge/edges.js';
import { keptColour } from '../edge/kept-colour.js';
import { seenHardness } from '../edge/edge-slope.js';
import { coreOf, readFineness, type DepthAt } from '../texture/fineness.js';
import type { SeenFrame } from './frame.js';
import { noiseOf, readFrontCut } from '../edge/front-cut.js';
import { readNearerUpright } from '../edge/nearer-upright.js';
import { readHalo } from '../edge/halo.js';
import { readKeySide } from '../light/key-side.js';
import { PlateBars, readLevels } from '../light/levels.js';
import { readOutside } from './outside.js';
import type { RecipeFacts } from './recipe-facts.js';
import { mendedMask, readSeam } from '../remains/seam.js';
import type { SeeThroughReader } from '../edge/see-through.js';
import type { Put, Series } from './series.js';
import { readShadow } from '../light/shadow.js';
import { readHolesAlone } from '../edge/solid.js';
import { borderShare } from '../edge/take-border-share.js';

/** Coverage from which a pixel of the performer counts as seen at a cut, and over which it hides a seam. */
const SEEN = 0.5,
  HIDES = 0.01;
/** Frames, at most, on which shadow and light's side are read: light that stands still needs few, and each costs most. */
const LIT_FRAMES = 6;

/** Reads one frame at a time, with no look at another, and puts the readings into the series it was given. */
export class CloseReader {
  private readonly facts: RecipeFacts;
  private readonly erased: boolean;
  private readonly through: SeeThroughReader;
  private readonly series: Series;
  private readonly put: Put;
  private readonly bars = new PlateBars();
  private readonly litEvery: number;
  private frames = 0;

  /**
   * `erased`: the plate was mended and its mended frames are not at hand; `through` adds up what is seen through the
   * performer; `frames`: how many will be read.
   */
  constructor(
    facts: RecipeFacts,
    erased: boolean,
    through: SeeThroughReader,
    { series, put, frames }: { readonly series: Series; readonly put: Put; readonly frames: number },
  ) {
    this.facts = facts;
    this.erased = erased;
    this.through = through;
    this.series = series;
    this.put = put;
    this.litEvery = Math.max(1, Math.ceil(frames / LIT_FRAMES));
  }

  read(f: SeenFrame): void {
    this.readBesidePerformer(f);
    const deep = f.box === null ? undefined : coreOf(f.matte, f.join.width, f.box);
    this.readBody(f, deep);
    if (this.facts.passing.length > 0 && f.box !== null) this.readCuts(f);
    this.readOutline(f);
    this.put('blur', f.frame, readFineness(f, deep));
    this.readTones(f);
    this.readSeamOf(f);
    if (this.facts.ground !== null && this.frames++ % this.litEvery === 0) this.readLit(f, this.facts.ground);
  }

  private readBesidePerformer(f: SeenFrame): void {
    const outside = this.erased ? null : readOutside(f);
    this.put('outside', f.frame, outside?.change ?? null);
    this.put('outsidePart', f.frame, outside?.part ?? null);
    if (outside !== null) this.series.outsideFaults.push({ fault: outside.fault, stops: outside.stops });
  }

  /** Whether it is whole: the take's border, what shows through, holes, and how its outline is cut out. */
  private readBody(f: SeenFrame, deep: DepthAt | undefined): void {
    const cut = borderShare(this.facts.recipe, f);
    this.put('takeBorder', f.frame, cut?.share ?? null, cut?.at);
    this.put('through', f.frame, this.through.add(f, deep));
    const holes = readHolesAlone(f, deep);
    this.put('holesAlone', f.frame, holes?.share ?? null, holes?.at);
    this.put('edgeHardness', f.frame, seenHardness(f));
    const halo = readHalo(f);
    this.put('haloRim', f.frame, halo?.rim ?? null);
    this.put('haloBeyond', f.frame, halo?.beyond ?? null);
  }

  private readCuts(f: SeenFrame): void {
    const plate = smallFrame(f.plate, 1),
      { width: W, height: H } = plate,
      noise = noiseOf(plate),
      seen = (x: number, y: number): boolean =>
        x >= 0 && y >= 0 && x < W && y < H && f.matte[Math.floor(y) * W + Math.floor(x)]! > SEEN;
    this.facts.passing.forEach((outline, thing) => {
      const sides = readFrontCut(plate, outline(f.frame), seen, noise);
      if (sides.length > 0) this.series.cuts.push({ frame: f.frame, thing, sides });
    });
  }

  private readOutline(f: SeenFrame): void {
    const edges = this.worseEdges(f);
    this.put('spill', f.frame, edges === null ? null : 100 * edges.spill, edges?.spillAt);
    this.put('spillSet', f.frame, edges === null ? null : 100 * edges.set);
    this.put('edgeLightness', f.frame, edges?.lightness ?? null, edges?.lightAt);
  }

  /** Of the screen's colour; where no recipe says which that was, of the one that shows more. */
  private worseEdges(f: SeenFrame): EdgeReading | null {
    const { screen } = this.facts,
      kept = keptColour(this.facts.recipe, f.frame),
      green = readEdges(f, screen ?? 'green', kept),
      blue = screen === null ? readEdges(f, 'blue', kept) : null;
    return green !== null && blue !== null && blue.spill > green.spill ? blue : green;
  }

  private readTones(f: SeenFrame): void {
    const levels = readLevels(f, this.bars);
    this.put('blackLevel', f.frame, levels?.black ?? null);
    this.put('whiteLevel', f.frame, levels?.white ?? null);
    this.put('blackLinear', f.frame, levels?.blackLinear ?? null);
    this.put('whiteStops', f.frame, levels?.whiteStops ?? null);
    this.put('whiteRoom', f.frame, levels?.room ?? null);
    this.put('whiteFull', f.frame, levels?.full ?? null);
    // Of a performer too small for its levels nothing is told of its colour either.
    const cast = levels === null ? null : readCast(f);
    this.put('colour', f.frame, cast?.colour ?? null);
    if (cast !== null) this.series.casts.push(cast);
  }

  private readSeamOf(f: SeenFrame): void {
    if (f.asFilmed === undefined) return;
    const { width: W, height: H } = f.join,
      mended = mendedMask(f.asFilmed, f.plateLuma, W, H),
      seam = readSeam(f.luma, mended, W, H, (i) => f.matte[i]! > HIDES);
    this.put('seam', f.frame, seam?.step ?? null, seam?.at);
  }

  private readLit(f: SeenFrame, ground: NonNullable<RecipeFacts['ground']>): void {
    // A shadow kept from the take falls as its own lamp threw it.
    const shadow = this.facts.keepsShadow ? null : readShadow(f, ground, this.facts.veil);
    this.put('shadow', f.frame, shadow?.offDeg ?? null, shadow?.at);
    this.put('shadowTurn', f.frame, shadow?.turnDeg ?? null);
    this.put('shadowStops', f.frame, shadow === null || shadow.offDeg > 90 ? null : shadow.stops);
    const at = ground.frames.find((g) => g.frame === f.frame),
      key = at !== undefined && ground.shadow ? groundGeometry(ground, at, f.join.width, f.join.height).light : null,
      side = key === null ? null : readKeySide(f, key);
    if (side !== null) this.series.sides.push({ from: side.from, key: [key![0], key![1]] });
    const nearer = readNearerUpright(f, ground);
    this.put('nearer', f.frame, nearer?.overPx ?? 0, nearer?.at);
    this.put('light', f.frame, side?.offDeg ?? null);
    this.put('lightUnlike', f.frame, side?.unlike ?? null);
  }
}
