/** The lane of picture-lane.ts: reads the frames it is sent, in order, and tells all at the end. */
import { parentPort, workerData } from 'node:worker_threads';
import { tellFailure } from '../../core/thread-failure.js';
import type { Outline } from '../../join/passing/outline-lines.js';
import type { PictureAnswer, PictureLaneData, PictureOrder } from './picture-lane.js';
import { PictureReader } from './picture-reader.js';
import { recipeFacts } from './recipe-facts.js';

const { recipe, first, total, every, erased, things } = workerData as PictureLaneData;
const port = parentPort!;
const tell = (answer: PictureAnswer): void => port.postMessage(answer);

/** Outlines of what passes on the frame at hand and the one before. */
const passing = new Map<number, readonly Outline[]>();
const reader = new PictureReader({
  facts: {
    ...recipeFacts(recipe, total),
    passing: Array.from({ length: things }, (_, thing) => (frame: number) => passing.get(frame)![thing]!),
  },
  erased,
  first,
  total,
  every,
});

port.on('message', (order: PictureOrder) => {
  try {
    if (order.kind === 'end') {
      tell({ kind: 'series', series: reader.result() });
      port.close();
      return;
    }
    const { frame } = order;
    passing.set(frame.frame, order.passing);
    for (const n of passing.keys()) if (n < frame.frame - 1) passing.delete(n);
    reader.add(frame);
    tell({ kind: 'read' });
  } catch (error) {
    tell({ kind: 'failure', failure: tellFailure(error) });
    port.close();
  }
});
