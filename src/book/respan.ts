/** A pick over another span of its film: its marks stay on the pictures they were made on. */
import type { Mark } from '../plate/marks/marks.js';
import type { PickDocument } from './documents.js';

/**
 * The pick from film frame `from` (inclusive) to `to` (exclusive). Marks count from the pick's first frame, so they are
 * shifted; those on frames that are left out go. `lost`: how many went.
 */
export function respanPick(
  pick: PickDocument,
  from: number,
  to: number,
): { readonly fields: Pick<PickDocument, 'in' | 'out' | 'marks'>; readonly lost: number } {
  const shift = pick.in - from;
  const frames = to - from;
  const base = Math.min(Math.max(0, pick.marks.frame + shift), frames - 1);
  const marks: Mark[] = [];
  for (const m of pick.marks.marks) {
    const frame = (m.frame ?? pick.marks.frame) + shift;
    if (frame >= 0 && frame < frames) marks.push({ ...m, frame });
  }
  return {
    fields: { in: from, out: to, marks: { ...pick.marks, frame: base, marks } },
    lost: pick.marks.marks.length - marks.length,
  };
}
