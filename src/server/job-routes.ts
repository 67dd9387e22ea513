/** Jobs over HTTP, and the stream of events that tells open pages when the book or a job has changed. */
import type { Hono } from 'hono';
import { streamSSE } from 'hono/streaming';
import type { Book } from '../book/book.js';
import { enterJob, getJob, jobsPulse, listJobs, resumeJob, stopJob } from '../jobs/job-store.js';
import type { JobRunner } from '../jobs/job-runner.js';
import { jobSchema } from './request-shapes.js';
import { jsonBody, needFound, parseAs } from './requests.js';

/** The event stream tells of so many jobs, the newest. */
const TOLD = 40;

/** Entered, stopped, resumed and listed. */
export function jobRoutes(app: Hono, book: Book, runner: JobRunner): void {
  app.get('/api/jobs', (c) => c.json(listJobs(book)));
  app.post('/api/jobs', async (c) => {
    const request = parseAs(jobSchema, await jsonBody(c), 'this job');
    const job = enterJob(book, request.kind, request.subject, request.spec);
    runner.wake();
    return c.json(job, 202);
  });
  app.post('/api/jobs/:id/stop', (c) => {
    needFound(getJob(book, c.req.param('id')), 'job');
    stopJob(book, c.req.param('id'));
    return c.json(getJob(book, c.req.param('id')));
  });
  app.post('/api/jobs/:id/resume', (c) => {
    needFound(getJob(book, c.req.param('id')), 'job');
    resumeJob(book, c.req.param('id'));
    runner.wake();
    return c.json(getJob(book, c.req.param('id')));
  });
}

/** `pulse` when the book has changed, `jobs` when a job has; asked four times a second. */
export function eventRoutes(app: Hono, book: Book): void {
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
        const j = jobsPulse(book, TOLD);
        if (p !== pulse) {
          pulse = p;
          silent = 0;
          await stream.writeSSE({ event: 'pulse', data: p });
        }
        if (j !== jobs) {
          jobs = j;
          silent = 0;
          await stream.writeSSE({ event: 'jobs', data: JSON.stringify(listJobs(book, TOLD)) });
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
}
