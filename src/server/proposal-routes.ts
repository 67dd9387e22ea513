/** Marks that the program proposes for a frame: lines, people, a performer's outline, the screen's useful part. */
import type { Hono } from 'hono';
import type { Book } from '../book/book.js';
import { proposeOutline } from '../join/outline/propose-outline.js';
import { lumaPlane } from '../media/luma.js';
import { proposePeople } from '../plate/marks/propose-people.js';
import { proposeMarks, type ProposedMark } from '../plate/marks/propose-marks.js';
import { proposeScreenMark } from '../take/screen/screen-edges.js';
import type { FrameStore } from './frame-store.js';
import { frameSource } from './request-shapes.js';
import { wholeNumber } from './requests.js';

/** Adds them to the app. */
export function proposalRoutes(app: Hono, book: Book, frames: FrameStore): void {
  app.get('/api/propose-marks/:what/:id/:n', async (c) => {
    const what = frameSource(c.req.param('what'));
    const n = wholeNumber(c.req.param('n'), 'frame');
    const frame = await (await frames.reader(await frames.pathOf(what, c.req.param('id')))).frame(n);
    const proposals = proposeMarks(lumaPlane(frame), frame.widthPx, frame.heightPx, n);
    const more =
      what === 'take'
        ? [...(await outlineOf(c.req.param('id'), n)), ...(await screenOf(c.req.param('id'), n)).proposals]
        : what === 'plate'
          ? await proposePeople(
              await frames.reader(await frames.pathOf(what, c.req.param('id'))),
              n,
              book.get('measures', c.req.param('id'))?.measures.camera,
            )
          : [];
    return c.json({ proposals: [...more, ...proposals] });
  });
  const outlineOf = async (id: string, n: number): Promise<ProposedMark[]> => {
    const take = book.need('take', id);
    const path = await frames.pathOf('take', id);
    if (take.kind === 'layers') return [];
    const one = await proposeOutline(await frames.reader(path), take.marks ?? { frame: 0, marks: [] }, n);
    return one === null ? [] : [one];
  };
  // The screen's useful part is looked for in frames of the whole take, once.
  const screens = new Map<string, ReturnType<typeof proposeScreenMark>>();
  const screenOf = async (id: string, n: number): Promise<{ proposals: ProposedMark[]; why: string }> => {
    const path = await frames.pathOf('take', id);
    const reader = await frames.reader(path);
    if (reader.info.frameCount < 2) return { proposals: [], why: 'a still has no screen that could be told from it' };
    let found = screens.get(path);
    if (found === undefined) {
      screens.set(path, (found = proposeScreenMark(reader, 0)));
      found.catch(() => screens.delete(path));
    }
    const { proposal, why } = await found;
    return {
      proposals:
        proposal === null ? [] : [{ ...proposal, mark: { ...proposal.mark, frame: n } as ProposedMark['mark'] }],
      why,
    };
  };
  app.get('/api/propose-screen/:take', async (c) => c.json(await screenOf(c.req.param('take'), 0)));
}
