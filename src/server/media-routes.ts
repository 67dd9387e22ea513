/** Films and takes over HTTP: sent, assigned to a pick, taken out of the book. */
import { Readable } from 'node:stream';
import type { Hono } from 'hono';
import { z } from 'zod';
import { removeFilm } from '../book/film-place.js';
import type { Book } from '../book/book.js';
import { assignTake, removeTake, takeFor } from '../book/take-place.js';
import { takeAgain } from '../book/take-again.js';
import { turnTake } from '../book/turn-take.js';
import { PlatewrightError } from '../core/errors.js';
import { enterTakeJobs } from '../jobs/enter-take-jobs.js';
import type { JobRunner } from '../jobs/job-runner.js';
import { jsonBody, parseAs } from './requests.js';
import { acceptFilm, acceptLayer, acceptTake } from './upload.js';

/** Adds the routes to the app. */
export function mediaRoutes(app: Hono, book: Book, runner: JobRunner): void {
  app.post('/api/takes', async (c) => {
    const stream = c.req.raw.body;
    if (stream === null)
      throw new PlatewrightError('PW-UPLOAD-EMPTY', 'the upload carried nothing; choose a file and try again');
    const sent = {
      name: c.req.query('name') ?? 'take',
      pick: c.req.query('pick') ?? null,
      stream: Readable.fromWeb(stream as import('node:stream/web').ReadableStream),
    };
    const layer = c.req.query('layer');
    const id =
      layer === undefined
        ? await acceptTake(book, sent)
        : await acceptLayer(book, { ...sent, to: layer === 'new' ? null : layer });
    runner.wake();
    return c.json({ id }, 201);
  });

  app.post('/api/takes/:id/pick', async (c) => {
    const { pick } = parseAs(
      z.object({ pick: z.string().max(64).nullable() }),
      await jsonBody(c),
      'this choice of a pick',
    );
    const take = assignTake(book, c.req.param('id'), pick);
    if (take.verdict === undefined) enterTakeJobs(book, take);
    runner.wake();
    return c.json({ id: take.id, pick: take.pick });
  });
  app.post('/api/takes/:id/also', async (c) => {
    const { pick } = parseAs(z.object({ pick: z.string().max(64) }), await jsonBody(c), 'this choice of a pick');
    const take = takeFor(book, c.req.param('id'), pick);
    enterTakeJobs(book, take);
    runner.wake();
    return c.json({ id: take.id, pick: take.pick }, 201);
  });
  app.post('/api/takes/:id/turn', async (c) => {
    const { clockwise } = parseAs(z.object({ clockwise: z.number() }), await jsonBody(c), 'this turn');
    const take = await turnTake(book, c.req.param('id'), clockwise);
    enterTakeJobs(book, take);
    runner.wake();
    return c.json({ id: take.id });
  });
  app.post('/api/takes/:id/again', async (c) => {
    const { keepMarks } = parseAs(z.object({ keepMarks: z.boolean() }), await jsonBody(c), 'this taking in');
    const take = await takeAgain(book, c.req.param('id'), keepMarks);
    enterTakeJobs(book, take);
    runner.wake();
    return c.json({ id: take.id });
  });
  app.post('/api/takes/:id/remove', async (c) => {
    await jsonBody(c);
    removeTake(book, c.req.param('id'));
    runner.wake();
    return c.json({ pulse: book.pulse() });
  });
  app.post('/api/films', async (c) => {
    const stream = c.req.raw.body;
    if (stream === null)
      throw new PlatewrightError('PW-UPLOAD-EMPTY', 'the upload carried nothing; choose a file and try again');
    const id = await acceptFilm(book, {
      name: c.req.query('name') ?? 'film',
      to: c.req.query('film') ?? null,
      stream: Readable.fromWeb(stream as import('node:stream/web').ReadableStream),
    });
    runner.wake();
    return c.json({ id }, 201);
  });
  app.post('/api/films/:id/remove', async (c) => {
    await jsonBody(c);
    removeFilm(book, c.req.param('id'));
    runner.wake();
    return c.json({ pulse: book.pulse() });
  });
}
