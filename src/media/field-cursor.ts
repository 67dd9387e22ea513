/**
 * Puts fields right between the decoder and whoever asks: each frame it gives depends on fixed neighbours, so any can
 * be asked for.
 */
import type { FieldUse } from './field-analysis.js';
import { combing, deinterlace, meanDifference, weave } from './fields.js';
import { copyFrame } from './planes.js';
import type { VideoFrame } from './types.js';

/** Gives any frame of a clip by its number; null past its end. */
export interface Cursor {
  get(n: number): Promise<VideoFrame | null>;
  close(): Promise<void>;
}

/** Source frames kept: two cycles of pulldown and their neighbours. */
const KEPT = 12;

/** A cursor over whole frames made from the fields of another cursor, which it closes with itself. */
export class FieldCursor implements Cursor {
  private readonly inner: Cursor;
  private readonly use: FieldUse;
  private readonly sourceCount: number;
  private readonly kept = new Map<number, VideoFrame>();
  private group: { k: number; frames: VideoFrame[] } | null = null;

  constructor(inner: Cursor, use: FieldUse, sourceCount: number) {
    this.inner = inner;
    this.use = use;
    this.sourceCount = sourceCount;
  }

  private async source(n: number): Promise<VideoFrame | null> {
    if (n < 0 || n >= this.sourceCount) return null;
    const there = this.kept.get(n);
    if (there) return there;
    const frame = await this.inner.get(n);
    if (frame === null) return null;
    const own = copyFrame(frame);
    this.kept.set(n, own);
    if (this.kept.size > KEPT) this.kept.delete(this.kept.keys().next().value!);
    return own;
  }

  async get(n: number): Promise<VideoFrame | null> {
    const { kind, parity } = this.use;
    if (kind === 'pulldown') {
      const k = Math.floor(n / 4);
      if (this.group === null || this.group.k !== k) this.group = { k, frames: await this.makeGroup(k) };
      const frame = this.group.frames[n - 4 * k];
      return frame ? { ...frame, index: n } : null;
    }
    const before = await this.source(n - 1);
    const frame = await this.source(n);
    if (frame === null) return null;
    if (kind === 'shifted') return { ...weave(frame, before ?? frame, parity), index: n };
    const after = await this.source(n + 1);
    return { ...deinterlace(frame, before ?? frame, after ?? frame, parity), index: n };
  }

  /**
   * The film frame whose first field stands in source frame i: that field with the other one of this or the last frame.
   */
  private async matched(i: number): Promise<VideoFrame | null> {
    const before = await this.source(i - 1);
    const frame = await this.source(i);
    if (frame === null) return null;
    if (before === null) return frame;
    const { parity } = this.use;
    return combing(frame, before, parity) < combing(frame, frame, parity) ? weave(frame, before, parity) : frame;
  }

  /** Of five source frames the one that repeats its forerunner most is left out. */
  private async makeGroup(k: number): Promise<VideoFrame[]> {
    const first = 5 * k;
    let last = await this.matched(first - 1);
    const all: VideoFrame[] = [];
    let drop = -1;
    let least = Infinity;
    for (let i = 0; i < 5; i++) {
      const frame = await this.matched(first + i);
      if (frame === null) break;
      if (last !== null) {
        const d = meanDifference(frame, last);
        if (d < least) {
          least = d;
          drop = i;
        }
      }
      all.push(frame);
      last = frame;
    }
    return all.length === 5 ? all.filter((_, i) => i !== drop) : all;
  }

  async close(): Promise<void> {
    this.kept.clear();
    this.group = null;
    await this.inner.close();
  }
}
