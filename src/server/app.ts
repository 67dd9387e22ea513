/**
 * The workbench's service: the book over HTTP for one production. Local only (see guard.ts). Every answer is JSON but
 * for pictures, clips and files; every failure is `{"error":{"code","message"}}` with a status by its kind.
 */
import { existsSync, statSync } from 'node:fs';
import { readFile } from 'node:fs/promises';
import { extname, join, normalize, sep } from 'node:path';
import { Hono } from 'hono';
import { streamSSE } from 'hono/streaming';
import type { Book } from '../book/book.js';
import type { DocumentKind, DocumentOf } from '../book/documents.js';
import { PlatewrightError } from '../core/errors.js';
import { enterJob, getJob, jobsPulse, listJobs, resumeJob, stopJob } from '../jobs/job-store.js';
import type { JobRunner } from '../jobs/job-runner.js';
import { changeSetting } from '../book/settings.js';
import { changeStudio } from '../book/studio.js';
import type { PhoneInvitation } from './api-types.js';
import { makeFile } from './files.js';
import { FrameStore } from './frame-store.js';
import { checkCaller } from './guard.js';
import { lumaPlane } from '../media/luma.js';
import { proposeOutline } from '../join/outline/propose-outline.js';
import { proposePeople } from '../plate/propose-people.js';
import { proposeMarks, type ProposedMark } from '../plate/propose-marks.js';
import { proposeScreenMark } from '../take/screen-edges.js';
import { grainPair } from './grain-pair.js';
import { previewFrame } from './preview.js';
import { mediaRoutes } from './media-routes.js';
import { body, need, optionalWidth, parse, wholeNumber } from './requests.js';
import { webClip } from './web-clip.js';
import { bookState } from './book-state.js';
import { changesOf, editSchema, jobSchema, kindOf, settingSchema, sourceOf, studioSchema } from './request-shapes.js';
import { MIME, picture, sendFile } from './send-file.js';

export interface ServiceOptions {
  readonly book: Book;
  readonly runner: JobRunner;
  /** Folder of the built workbench. */
  readonly webFolder: string;
  /** Port that Host headers must name; read when a request comes, as it is known only after listening. */
  readonly port: () => number;
  /** The phone's way in, where it is open; asked for when a request comes. */
  readonly phones?: () => PhoneDesk | null;
}

/** What the computer's pages may ask of the phone's way in. */
export interface PhoneDesk {
  invitation(): PhoneInvitation;
  renew(): void;
  forget(): void;
}

const STATUS = { finding: 409, usage: 400, input: 422, internal: 500 } as const;

export function createService(options: ServiceOptions): { app: Hono; frames: FrameStore } {
  const { book, runner } = options;
  const frames = new FrameStore(book);
  const app = new Hono();

  app.onError((error, c) => {
    const known = error instanceof PlatewrightError;
    const code = known ? error.code : 'PW-INTERNAL';
    if (!known) process.stderr.write(`PW-INTERNAL: ${error.stack ?? error.message}\n`);
    const status =
      code === 'PW-SERVER-HOST' || code === 'PW-SERVER-ORIGIN'
        ? 403
        : code === 'PW-BOOK-NO-SUCH' || code === 'PW-SERVER-NO-SUCH'
          ? 404
          : known
            ? STATUS[error.kind]
            : 500;
    return c.json({ error: { code, message: error.message, detail: known ? error.detail : {} } }, status);
  });

  app.use('*', async (c, next) => {
    checkCaller(c.req.header('host'), c.req.header('origin'), c.req.header('sec-fetch-site'), options.port());
    await next();
    c.header('X-Content-Type-Options', 'nosniff');
    c.header('Referrer-Policy', 'no-referrer');
    c.header('Cross-Origin-Resource-Policy', 'same-origin');
    c.header(
      'Content-Security-Policy',
      "default-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; style-src 'self' 'unsafe-inline'; " +
        "frame-ancestors 'none'",
    );
  });

  app.get('/api/book', (c) => c.json(bookState(book)));
  app.get('/api/documents/:kind', (c) => c.json(book.list(kindOf(c.req.param('kind')))));
  app.get('/api/documents/:kind/:id', (c) => c.json(book.need(kindOf(c.req.param('kind')), c.req.param('id'))));

  app.post('/api/settings', async (c) => {
    const request = parse(settingSchema, await body(c), 'this setting');
    changeSetting(book, request.name, request.numbers);
    return c.json({ pulse: book.pulse() });
  });

  app.post('/api/studio', async (c) => {
    const request = parse(studioSchema, await body(c), 'this line of the studio');
    changeStudio(book, request.name, request.text);
    return c.json({ pulse: book.pulse() });
  });

  app.post('/api/edit', async (c) => {
    const request = parse(editSchema, await body(c), 'this edit');
    book.edit(request.title, (scope) => {
      for (const change of request.changes) {
        if (change.do === 'remove') scope.remove(change.kind, change.id);
        else if (change.do === 'change') {
          const now = scope.get(change.kind, change.id);
          if (now === null)
            throw new PlatewrightError(
              'PW-BOOK-NO-SUCH',
              `the book has no ${change.kind} "${change.id}" (any more); nothing was changed`,
              { kind: 'usage' },
            );
          scope.put(change.kind, { ...now, ...change.fields, id: change.id } as DocumentOf<DocumentKind>);
        } else scope.put(change.kind, change.document as DocumentOf<DocumentKind>);
      }
    });
    return c.json({ pulse: book.pulse() });
  });
  app.post('/api/undo', (c) => c.json({ edit: book.undo(), pulse: book.pulse() }));
  app.post('/api/redo', (c) => c.json({ edit: book.redo(), pulse: book.pulse() }));

  const phones = (): PhoneDesk => {
    const open = options.phones?.() ?? null;
    if (open === null)
      throw new PlatewrightError('PW-SERVER-NO-SUCH', 'no phone can come in; start the workbench with --lan', {
        kind: 'usage',
      });
    return open;
  };
  app.get('/api/phone', (c) => c.json(options.phones?.()?.invitation() ?? null));
  app.post('/api/phone/code', async (c) => {
    await body(c);
    phones().renew();
    return c.json(phones().invitation());
  });
  app.post('/api/phone/forget', async (c) => {
    await body(c);
    phones().forget();
    return c.json(phones().invitation());
  });

  app.get('/api/jobs', (c) => c.json(listJobs(book)));
  app.post('/api/jobs', async (c) => {
    const request = parse(jobSchema, await body(c), 'this job');
    const job = enterJob(book, request.kind, request.subject, request.spec);
    runner.wake();
    return c.json(job, 202);
  });
  app.post('/api/jobs/:id/stop', (c) => {
    need(getJob(book, c.req.param('id')), 'job');
    stopJob(book, c.req.param('id'));
    return c.json(getJob(book, c.req.param('id')));
  });
  app.post('/api/jobs/:id/resume', (c) => {
    need(getJob(book, c.req.param('id')), 'job');
    resumeJob(book, c.req.param('id'));
    runner.wake();
    return c.json(getJob(book, c.req.param('id')));
  });

  app.get('/api/events', (c) =>
    streamSSE(c, async (stream) => {
      let open = true;
      stream.onAbort(() => {
        open = false;
      });
      let pulse = '';
      let jobs = '';
      let silent = 0;
      while (open) {
        const p = book.pulse();
        const j = jobsPulse(book);
        if (p !== pulse) {
          pulse = p;
          silent = 0;
          await stream.writeSSE({ event: 'pulse', data: p });
        }
        if (j !== jobs) {
          jobs = j;
          silent = 0;
          await stream.writeSSE({ event: 'jobs', data: JSON.stringify(listJobs(book, 40)) });
        }
        // Proxies and phones drop a stream that says nothing.
        if (++silent >= 60) {
          silent = 0;
          await stream.writeSSE({ event: 'still-here', data: '' });
        }
        await stream.sleep(250);
      }
    }),
  );

  app.get('/api/frame/:what/:id/:n', async (c) => {
    const jpeg = await frames.jpeg(
      sourceOf(c.req.param('what')),
      c.req.param('id'),
      wholeNumber(c.req.param('n'), 'frame'),
      optionalWidth(c),
    );
    return picture(c, jpeg);
  });
  app.get('/api/pixel/:what/:id/:n', async (c) =>
    c.json(
      await frames.pixel(
        sourceOf(c.req.param('what')),
        c.req.param('id'),
        wholeNumber(c.req.param('n'), 'frame'),
        Number(c.req.query('x')),
        Number(c.req.query('y')),
      ),
    ),
  );
  app.get('/api/preview/:pick/:n', async (c) =>
    picture(
      c,
      await previewFrame(book, c.req.param('pick'), wholeNumber(c.req.param('n'), 'frame'), {
        step: c.req.query('step'),
        view: c.req.query('view'),
        off: (c.req.query('off') ?? '').split(',').filter((s) => s !== ''),
        width: optionalWidth(c),
        changes: changesOf(c.req.query('set')),
      }),
    ),
  );
  app.get('/api/propose-marks/:what/:id/:n', async (c) => {
    const what = sourceOf(c.req.param('what'));
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
  app.get('/api/grain/:pick/:n', async (c) => {
    const pair = await grainPair(book, frames, c.req.param('pick'), wholeNumber(c.req.param('n'), 'frame'));
    return c.json({ picture: `data:image/png;base64,${pair.png.toString('base64')}`, at: pair.at, sd: pair.sd });
  });
  app.get('/api/clip/:what/:file', async (c) => {
    const file = c.req.param('file').replace(/\.(mp4|webm)$/, '');
    return sendFile(c, await webClip(book, frames, c.req.param('what'), file));
  });
  app.get('/api/file/:name', async (c) => {
    const made = await makeFile(book, c.req.param('name'), c.req.query());
    c.header('Content-Type', MIME[extname(c.req.param('name'))] ?? 'application/octet-stream');
    c.header('Content-Disposition', `inline; filename="${made.name}"`);
    return c.body(new Uint8Array(made.bytes));
  });
  app.get('/api/delivery/:id/:index', (c) => {
    const d = book.need('delivery', c.req.param('id'));
    const stored = d.files[wholeNumber(c.req.param('index'), 'file')];
    if (stored === undefined)
      throw new PlatewrightError('PW-SERVER-NO-SUCH', 'that delivery has no such file', { kind: 'usage' });
    return sendFile(c, book.mediaPath(stored));
  });
  mediaRoutes(app, book, runner);

  app.all('/api/*', (c) => {
    throw new PlatewrightError('PW-SERVER-NO-SUCH', `there is nothing at ${c.req.path}`, { kind: 'usage' });
  });

  app.get('*', async (c) => {
    const asked = decodeURIComponent(c.req.path);
    const path = normalize(join(options.webFolder, asked));
    if (path !== options.webFolder && !path.startsWith(options.webFolder + sep))
      throw new PlatewrightError('PW-PATH-OUTSIDE', 'that path leaves the workbench', { kind: 'usage' });
    const file = existsSync(path) && statSync(path).isFile() ? path : join(options.webFolder, 'index.html');
    if (!existsSync(file))
      throw new PlatewrightError(
        'PW-SETUP-NOT-BUILT',
        'the workbench has not been built; run "npm start", or "node scripts/build.mjs --web"',
        { kind: 'internal' },
      );
    c.header('Content-Type', MIME[extname(file)] ?? 'application/octet-stream');
    c.header('Cache-Control', file.includes(`${sep}assets${sep}`) ? 'public, max-age=31536000, immutable' : 'no-cache');
    return c.body(new Uint8Array(await readFile(file)));
  });

  return { app, frames };
}
