/**
 * The workbench's service: the book over HTTP for one production. Local only (see guard.ts). Every answer is JSON but
 * for pictures, clips and files; every failure is `{"error":{"code","message"}}` with a status by its kind.
 */
import { existsSync, statSync } from 'node:fs';
import { readFile } from 'node:fs/promises';
import { extname, join, normalize, sep } from 'node:path';
import { Hono } from 'hono';
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { fileTrouble } from '../core/file-trouble.js';
import type { JobRunner } from '../jobs/job-runner.js';
import { bookRoutes } from './book-routes.js';
import { fileRoutes } from './file-routes.js';
import { FrameStore } from './frame-store.js';
import { checkCaller } from './guard.js';
import { eventRoutes, jobRoutes } from './job-routes.js';
import { mediaRoutes } from './media-routes.js';
import { phoneRoutes, type PhoneDesk } from './phone-routes.js';
import { pictureRoutes } from './picture-routes.js';
import { proposalRoutes } from './proposal-routes.js';
import { MIME } from './send-file.js';

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

const STATUS = { finding: 409, usage: 400, input: 422, internal: 500 } as const;

/** The app with all its routes, and the readers of frames that are to be closed with it. */
export function createService(options: ServiceOptions): { app: Hono; frames: FrameStore } {
  const { book, runner } = options;
  const frames = new FrameStore(book);
  const app = new Hono();
  answerErrors(app, book.folder);
  guardCallers(app, options.port);
  bookRoutes(app, book);
  phoneRoutes(app, () => options.phones?.() ?? null);
  jobRoutes(app, book, runner);
  eventRoutes(app, book);
  pictureRoutes(app, book, frames);
  proposalRoutes(app, book, frames);
  fileRoutes(app, book, frames);
  mediaRoutes(app, book, runner);
  app.all('/api/*', (c) => {
    throw new PlatewrightError('PW-SERVER-NO-SUCH', `there is nothing at ${c.req.path}`, { kind: 'usage' });
  });
  pageRoutes(app, options.webFolder);
  return { app, frames };
}

/** Every failure as JSON with a status by its kind; what nobody foresaw is written to the terminal too. */
function answerErrors(app: Hono, folder: string): void {
  app.onError((thrown, c) => {
    const error = fileTrouble(thrown, folder) ?? thrown;
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
}

/** Refuses what does not come from this machine's own pages, and sends the headers that keep others out. */
function guardCallers(app: Hono, port: () => number): void {
  app.use('*', async (c, next) => {
    checkCaller(c.req.header('host'), c.req.header('origin'), c.req.header('sec-fetch-site'), port());
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
}

/** The built workbench's files; any other address gets its first page. */
function pageRoutes(app: Hono, webFolder: string): void {
  app.get('*', async (c) => {
    const asked = decodeURIComponent(c.req.path);
    const path = normalize(join(webFolder, asked));
    if (path !== webFolder && !path.startsWith(webFolder + sep))
      throw new PlatewrightError('PW-PATH-OUTSIDE', 'that path leaves the workbench', { kind: 'usage' });
    const file = existsSync(path) && statSync(path).isFile() ? path : join(webFolder, 'index.html');
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
}
