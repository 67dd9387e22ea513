/** Body of the process that mends plates for the workbench, started by mend-aside.ts: a recipe, then frame by frame. */
import { PlatewrightError } from '../core/errors.js';
import { fileTrouble } from '../core/file-trouble.js';
import { letHeapGrow } from '../core/heap.js';
import { plateMender } from '../join/render/plate-mender.js';
import { copyFrame } from '../media/planes.js';
import { VideoReader } from '../media/video-reader.js';
import type { MendAnswer, MendRequest } from './mend-aside.js';

letHeapGrow();
let work: Promise<{ mender: ReturnType<typeof plateMender>; plate: VideoReader }> | null = null;

async function answer(request: MendRequest): Promise<MendAnswer> {
  try {
    work ??= VideoReader.open(request.recipe.plate.file).then((plate) => ({
      mender: plateMender(request.recipe, request.camera),
      plate,
    }));
    const { mender, plate } = await work;
    const filmed = await plate.frame(request.frame);
    const mended = mender === null ? filmed : await mender.mend(request.frame, filmed, new Set(request.steps));
    return { n: request.n, ok: true, frame: copyFrame(mended) };
  } catch (thrown) {
    const error = fileTrouble(thrown) ?? thrown;
    return error instanceof PlatewrightError
      ? { n: request.n, ok: false, code: error.code, sentence: error.message.slice(error.code.length + 2) }
      : {
          n: request.n,
          ok: false,
          code: 'PW-JOIN-MEND',
          sentence: `the plate could not be mended: ${error instanceof Error ? error.message : String(error)}`,
        };
  }
}

// One frame after another, as they were asked for.
let queue: Promise<unknown> = Promise.resolve();
process.on('message', (request) => {
  queue = queue.then(async () => process.send!(await answer(request as MendRequest)));
});
