/** Body of the child process that `probe-process.ts` starts: one request, one answer, end. */
import { PlatewrightError } from '../core/errors.js';
import { copyFrame } from './planes.js';
import { probe } from './probe.js';
import type { ChildAnswer, ChildRequest } from './probe-process.js';
import { VideoReader } from './video-reader.js';

async function answer(request: ChildRequest): Promise<ChildAnswer> {
  try {
    if (request.act === 'probe') return { ok: true, value: await probe(request.path) };
    if (request.act === 'check') {
      const info = await probe(request.path);
      if (info.video === null) return { ok: true, value: info };
      const reader = await VideoReader.open(request.path);
      try {
        await reader.frame(0);
        await reader.frame(reader.info.frameCount - 1);
        return { ok: true, value: { ...info, video: reader.info } };
      } finally {
        await reader.close();
      }
    }
    const reader = await VideoReader.open(request.path);
    try {
      return { ok: true, value: copyFrame(await reader.frame(request.frame ?? 0)) };
    } finally {
      await reader.close();
    }
  } catch (error) {
    if (error instanceof PlatewrightError) {
      return {
        ok: false,
        code: error.code,
        sentence: error.message.slice(error.code.length + 2),
        kind: error.kind,
        detail: error.detail,
      };
    }
    return {
      ok: false,
      code: 'PW-MEDIA-INTERNAL',
      sentence: error instanceof Error ? error.message : String(error),
      kind: 'internal',
      detail: {},
    };
  }
}

process.once('message', (request) => {
  void answer(request as ChildRequest).then((reply) => process.send!(reply, () => process.exit(0)));
});
