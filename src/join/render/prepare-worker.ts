/**
 * A lane of prepare-lanes.ts: peels, paces, places and shades the frames it is told, in order, and sends each as it is
 * made.
 */
import { parentPort, workerData } from 'node:worker_threads';
import { tellFailure } from '../../core/thread-failure.js';
import { VideoReader } from '../../media/video-reader.js';
import { composeTools, type ComposeTools } from './active-steps.js';
import { STILL } from '../ride/carrier.js';
import { joinTools } from './join-tools.js';
import { HandOver } from './hand-over.js';
import { pictureOf } from './held-plate.js';
import { PerformerSource, takeFrameOf } from './performer-source.js';
import { preparePerformer } from './prepare-performer.js';
import { modelPeeler, type ScreenSet } from '../peel/screen-peeler.js';
import type { LaneAnswer, LaneData, LaneOrder } from './prepare-lanes.js';

const { recipe, widens, awaitsScreen, peelsOnly, index, wanted: shared } = workerData as LaneData;
const wanted = new Int32Array(shared);
const port = parentPort!;
const tools = new Map<string, ComposeTools>();
let source: Promise<PerformerSource> | null = null;
let last: Promise<void> = Promise.resolve();
const handOver = new HandOver();
let handedFor = -1;

let screenCame: (set: ScreenSet) => void = () => undefined,
  screenGone: (why: Error) => void = () => undefined;
const screen = new Promise<ScreenSet>((resolve, reject) => {
  screenCame = resolve;
  screenGone = reject;
});
screen.catch(() => undefined);

async function open(): Promise<PerformerSource> {
  const own = await joinTools(recipe, null);
  // A lane that only peels is alone, and the slower half: the next frame is decoded beside its work.
  const take = await VideoReader.open(recipe.take.file, {
    threads: peelsOnly ? 2 : 1,
    ...(index === null ? {} : { index }),
  });
  return new PerformerSource(
    recipe,
    take,
    awaitsScreen
      ? {
          ...own,
          screenPeeler: async (step) => {
            const { model, clean } = await screen;
            return modelPeeler(model, step, clean);
          },
        }
      : own,
  );
}

async function answer(order: Extract<LaneOrder, { kind: 'frames' }>): Promise<void> {
  if (order.batch !== handedFor) handOver.clear();
  handedFor = order.batch;
  for (let n = order.from; n < order.to; n++) {
    if (Atomics.load(wanted, 0) !== order.batch) return;
    try {
      const key = JSON.stringify(order.choice);
      let used = tools.get(key);
      // What lies in front needs the set's motion and is no part of this; so any carrier will do.
      if (used === undefined) tools.set(key, (used = composeTools(recipe, order.choice, widens, STILL)));
      source ??= open();
      const shown = pictureOf(recipe.plate, n),
        performer = await (await source).at(shown, { patched: used.active.names.has('patch') });
      if (peelsOnly) {
        port.postMessage({
          batch: order.batch,
          frame: n,
          made: { performer: handOver.lay(performer) },
        } satisfies LaneAnswer);
        continue;
      }
      const { widthPx, heightPx } = recipe.plate;
      const on = { frame: shown, takeFrame: takeFrameOf(recipe, shown), widthPx, heightPx };
      const prepared = preparePerformer(used, performer, on);
      const move =
        prepared === null
          ? []
          : [prepared.placed.picture.data, prepared.shade?.cover, prepared.shade?.contact].flatMap((p) =>
              p === undefined ? [] : [p.buffer as ArrayBuffer],
            );
      port.postMessage({ batch: order.batch, frame: n, made: { prepared } } satisfies LaneAnswer, move);
    } catch (error) {
      port.postMessage({ batch: order.batch, frame: n, failure: tellFailure(error) } satisfies LaneAnswer);
      return;
    }
  }
}

async function end(): Promise<void> {
  // A lane that is ended before the screen came waits no longer.
  screenGone(new Error('the render ended before the screen was modelled'));
  await last;
  await source?.then(
    (s) => s.close(),
    () => undefined,
  );
  port.close();
}

port.on('message', (order: LaneOrder) => {
  if (order.kind === 'screen') screenCame(order.set);
  else if (order.kind === 'end') void end();
  else last = last.then(() => answer(order));
});
