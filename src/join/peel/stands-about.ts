/**
 * Who stands in the set on a frame, by that frame and those about it. Each frame is told on the mean of what it and its
 * neighbours show alike, and then the most of them decide, wherever they show the same (`pool-still.ts`). Asked in
 * rising order each frame is read and told once, in a stream of its own, so that the reader's other frames are not
 * sought again.
 */
import { toLinear } from '../../media/convert.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import { notOfSet, type EmptySet, type StandsIn } from './empty-set.js';
import { mostSay, pooledStill, samePlaces } from './pool-still.js';
import { smallLinear, type SmallLinear } from './small-linear.js';

/** Frames before and after that have a say. */
const REACH = 2;

/** What a frame of the take says, on the mean of what is the same about it. */
interface Told {
  readonly small: SmallLinear;
  readonly stands: StandsIn;
}

export class StandsAbout {
  private readonly take: VideoReader;
  private readonly set: EmptySet;
  private readonly smalls = new Map<number, SmallLinear>();
  private readonly told = new Map<number, Told>();
  private stream: { readonly frames: AsyncGenerator<VideoFrame>; next: number } | null = null;
  private queue: Promise<unknown> = Promise.resolve();

  constructor(take: VideoReader, set: EmptySet) {
    this.take = take;
    this.set = set;
  }

  /** @param n number of the frame in the take @param small the frame itself, which a patch may have changed */
  at(n: number, small: SmallLinear): Promise<StandsIn> {
    const asked = this.queue.then(() => this.tell(n, small));
    this.queue = asked.catch(() => undefined);
    return asked;
  }

  private async tell(n: number, small: SmallLinear): Promise<StandsIn> {
    for (const k of this.smalls.keys()) if (Math.abs(k - n) > 2 * REACH) this.smalls.delete(k);
    for (const k of this.told.keys()) if (Math.abs(k - n) > REACH) this.told.delete(k);
    // In rising order, as the stream gives them.
    const last = Math.min(this.take.info.frameCount - 1, n + 2 * REACH);
    for (let k = Math.max(0, n - 2 * REACH); k <= last; k += 1) await this.smallAt(k);
    const about: Told[] = [];
    for (const k of this.near(n)) {
      const one = await this.toldAt(k);
      if (one !== null) about.push(one);
    }
    const others = about.map((o) => o.small),
      same = samePlaces(small, others),
      plain = await this.smallAt(n),
      own =
        (plain !== null && alike(plain, small) ? (await this.toldAt(n))?.stands : undefined) ??
        notOfSet(pooledStill(small, others, same), this.set),
      inside = mostSay(
        own.inside,
        about.map((o) => o.stands.inside),
        same,
      ),
      // What is somebody now is not the set's in shadow, and the other way round.
      holds = this.set.still.map((v, i) => (own.shade[i] === 1 && inside[i] === 0 ? 0 : v));
    return { inside, holds, shade: own.shade };
  }

  /** Null where the take stops decoding before. */
  private async toldAt(n: number): Promise<Told | null> {
    const known = this.told.get(n);
    if (known !== undefined) return known;
    const small = await this.smallAt(n),
      others: SmallLinear[] = [];
    if (small === null) return null;
    for (const k of this.near(n)) {
      const other = await this.smallAt(k);
      if (other !== null) others.push(other);
    }
    const one = { small, stands: notOfSet(pooledStill(small, others, samePlaces(small, others)), this.set) };
    this.told.set(n, one);
    return one;
  }

  /** Numbers of the frames about one, without itself. */
  private near(n: number): readonly number[] {
    const out: number[] = [];
    for (let k = Math.max(0, n - REACH); k <= Math.min(this.take.info.frameCount - 1, n + REACH); k += 1)
      if (k !== n) out.push(k);
    return out;
  }

  /** Null where the take stops decoding before. */
  private async smallAt(n: number): Promise<SmallLinear | null> {
    const known = this.smalls.get(n);
    if (known !== undefined) return known;
    if (this.stream === null || this.stream.next > n || n - this.stream.next > 2 * REACH) {
      await this.stream?.frames.return(undefined);
      this.stream = { frames: this.take.frames(n), next: n };
    }
    while (this.stream.next <= n) {
      const { value, done } = await this.stream.frames.next();
      if (done === true) return null;
      this.smalls.set(this.stream.next, smallLinear(toLinear(value)));
      this.stream.next += 1;
    }
    return this.smalls.get(n) ?? null;
  }
}

/** Whether a picture is the take's own, but for the rounding of a smaller size; a patched one is not. */
function alike(a: SmallLinear, b: SmallLinear): boolean {
  return a.data.every((v, i) => Math.abs(v - b.data[i]!) < ROUNDING);
}
const ROUNDING = 1e-4;
