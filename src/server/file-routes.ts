/**
 * Files over HTTP: clips for video elements, documents that are made when they are asked for, and what was delivered.
 */
import { extname } from 'node:path';
import type { Hono } from 'hono';
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { makeFile } from './files.js';
import type { FrameStore } from './frame-store.js';
import { wholeNumber } from './requests.js';
import { MIME, sendFile } from './send-file.js';
import { webClip } from './web-clip.js';

/** Adds them to the app. */
export function fileRoutes(app: Hono, book: Book, frames: FrameStore): void {
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
}
