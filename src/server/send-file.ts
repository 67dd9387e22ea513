/** Files and pictures sent with their types; files by ranges, as video elements need them. */
import { createReadStream, existsSync, statSync } from 'node:fs';
import { extname } from 'node:path';
import { Readable } from 'node:stream';
import type { Context } from 'hono';
import { PlatewrightError } from '../core/errors.js';

export const MIME: Record<string, string> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.svg': 'image/svg+xml',
  '.png': 'image/png',
  '.woff2': 'font/woff2',
  '.ico': 'image/x-icon',
  '.json': 'application/json',
  '.mp4': 'video/mp4',
  '.mov': 'video/quicktime',
  '.mkv': 'video/x-matroska',
  '.wav': 'audio/wav',
  '.vtt': 'text/vtt; charset=utf-8',
  '.pdf': 'application/pdf',
  '.ics': 'text/calendar; charset=utf-8',
  '.csv': 'text/csv; charset=utf-8',
  '.edl': 'text/plain; charset=utf-8',
  '.otio': 'application/json',
  '.jpg': 'image/jpeg',
  '.txt': 'text/plain; charset=utf-8',
  '.map': 'application/json',
  '.webmanifest': 'application/manifest+json',
};

/** A JPEG that the browser asks for anew each time. */
export function sendJpeg(c: Context, jpeg: Buffer): Response {
  c.header('Content-Type', 'image/jpeg');
  c.header('Cache-Control', 'private, no-cache');
  return c.body(new Uint8Array(jpeg));
}

/** A file with range requests, as video elements need them. */
export function sendFile(c: Context, path: string): Response {
  if (!existsSync(path)) throw new PlatewrightError('PW-MEDIA-MISSING', `${path} is gone; make it again`);
  const size = statSync(path).size;
  const range = /^bytes=(\d*)-(\d*)$/.exec(c.req.header('range') ?? '');
  let from = 0;
  let to = size - 1;
  let status: 200 | 206 = 200;
  if (range !== null && size > 0) {
    if (range[1] !== '') {
      from = Number(range[1]);
      if (range[2] !== '') to = Math.min(to, Number(range[2]));
    } else if (range[2] !== '') from = Math.max(0, size - Number(range[2]));
    if (from > to) return c.body(null, 416, { 'Content-Range': `bytes */${size}` });
    status = 206;
    c.header('Content-Range', `bytes ${from}-${to}/${size}`);
  }
  c.header('Accept-Ranges', 'bytes');
  c.header('Content-Type', MIME[extname(path)] ?? 'application/octet-stream');
  c.header('Content-Length', String(to - from + 1));
  return c.body(Readable.toWeb(createReadStream(path, { start: from, end: to })) as ReadableStream, status);
}
