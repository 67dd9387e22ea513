/**
 * Collects what is needed to see whether an erase left something: at most two dozen reduced frames of a shot, and where
 * the performer changes the ground itself.
 */
import { STILL, type Carrier } from '../../join/ride/carrier.js';
import type { Recipe } from '../../join/types.js';
import type { Expected } from '../texture/against-take.js';
import type { SeenFrame } from '../reader/frame.js';
import { ownGround, ownGroundAt, type OwnGround } from './own-ground.js';
import { plannedFoot } from '../movement/planned.js';
import { remainsFrame, scaleFor, type RemainsFrame } from './remains-frame.js';
import { readRemains, type Remains } from './remains.js';

/**
 * Px a frame up to which a plate stands; a hand's tremble of less comes back (own choice, between a shake of .4 px rms
 * and a slow pan's 1.3).
 */
const STANDS = 0.8;
/** Frames kept at most. */
const FRAMES = 24;

/** Whether nothing is erased and a patch lays a part of another moment onto the plate: a face that speaks sooner. */
export function onlyPatched({ steps }: Recipe): boolean {
  return (
    !steps.some((s) => s.on && s.step === 'erase') &&
    steps.some((s) => s.on && s.step === 'patch' && s.onto === 'plate')
  );
}

/** Takes the frames of one join in order by `add`; `result` is null where that can't be told. */
export class RemainsReader {
  private readonly frames: RemainsFrame[] = [];
  private readonly own: OwnGround[] = [];
  private readonly recipe: Recipe;
  private readonly first: number;
  private readonly every: number;
  private readonly carrier: Carrier | undefined;
  /** A patch alone mends the plate: it lays what another moment showed, not the set. */
  private readonly patchedOnly: boolean;

  /** `carrier`: the set's motion; a set of which none is known is looked at as one that stands, if it does. */
  constructor(recipe: Recipe, first: number, total: number, carrier: Carrier | undefined) {
    this.recipe = recipe;
    this.first = first;
    this.every = Math.max(1, Math.ceil(total / FRAMES));
    this.carrier = carrier;
    this.patchedOnly = onlyPatched(recipe);
  }

  add(f: SeenFrame): void {
    const filmed = this.filmed(f);
    if (filmed !== undefined && (f.frame - this.first) % this.every === 0)
      this.frames.push(remainsFrame(f.frame, filmed, f.plateLuma, f.luma, f.matte, f.join.width, f.join.height));
  }

  /** The recipe rendered again on a frame: where it changes the ground, nothing is read of the erase. */
  asked(f: SeenFrame, expected: Expected): void {
    if (this.filmed(f) === undefined) return;
    const { width: W, height: H } = f.join;
    this.own.push(
      ownGround(
        f.frame,
        expected.luma,
        f.plateLuma,
        W,
        H,
        scaleFor(W),
        plannedFoot(this.recipe, f.frame),
        f.box === null ? 0 : f.box[3] - f.box[1],
      ),
    );
  }

  /** The plate before something was erased from it. */
  private filmed(f: SeenFrame): Float32Array | undefined {
    return this.patchedOnly ? f.beside : (f.asFilmed ?? f.beside);
  }

  /**
   * `stepPx`: how far the plate's picture moves a frame. A set that moves nobody knows how tells nothing: its own
   * pattern would pass for what was left.
   */
  result(stepPx: number): Remains | null {
    if (this.carrier === undefined && stepPx > STANDS) return null;
    return readRemains(
      this.frames,
      this.frames.map((f) => ownGroundAt(this.own, f, plannedFoot(this.recipe, f.frame))),
      this.carrier ?? STILL,
    );
  }
}
