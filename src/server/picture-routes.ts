/**
 * Pictures over HTTP: frames of films, plates, takes and joins, single pixels, previews
 * of a recipe, and grain beside grain.
 */
import type { Hono } from 'hono';
import type { Book } from '../book/book.js';
import type { FrameStore } from './frame-store.js';
import { grainPair } from './grain-pair.js';
import { previewFrame } from './preview.js';
import { changesOf, frameSource } from './request-shapes.js';
import { optionalWidth, wholeNumber } from './requests.js';
import { sendJpeg } from './send-file.js';

/** Adds them to the app. */
export function pictureRoutes(app: Hono, book: Book, frames: FrameStore): void {
  app.get('/api/frame/:what/:id/:n', async (c) => {
    const jpeg = await frames.jpeg(
      frameSource(c.req.param('what')),
      c.req.param('id'),
      wholeNumber(c.req.param('n'), 'frame'),
      optionalWidth(c),
    );
    return sendJpeg(c, jpeg);
  });
  app.get('/api/pixel/:what/:id/:n', async (c) =>
    c.json(
      await frames.pixel(
        frameSource(c.req.param('what')),
        c.req.param('id'),
        wholeNumber(c.req.param('n'), 'frame'),
        Number(c.req.query('x')),
        Number(c.req.query('y')),
      ),
    ),
  );
  app.get('/api/preview/:pick/:n', async (c) =>
    sendJpeg(
      c,
      await previewFrame(book, c.req.param('pick'), wholeNumber(c.req.param('n'), 'frame'), {
        step: c.req.query('step'),
        view: c.req.query('view'),
        off: (c.req.query('off') ?? '').split(',').filter((s) => s !== ''),
        width: optionalWidth(c),
        changes: changesOf(c.req.query('set')),
        soon: c.req.query('soon') === '1',
      }),
    ),
  );
  app.get('/api/grain/:pick/:n', async (c) => {
    const pair = await grainPair(book, frames, c.req.param('pick'), wholeNumber(c.req.param('n'), 'frame'));
    return c.json({ picture: `data:image/png;base64,${pair.png.toString('base64')}`, at: pair.at, sd: pair.sd });
  });
}
