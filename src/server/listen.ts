/** Opens the workbench's service on loopback. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { serve } from '@hono/node-server';
import { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { JobRunner } from '../jobs/job-runner.js';
import { createService } from './app.js';

export interface RunningService {
  readonly url: string;
  readonly port: number;
  close(): Promise<void>;
}

/** Folder of the built workbench, whether this runs from dist or from src. */
export function builtWebFolder(): string {
  const here = fileURLToPath(new URL('.', import.meta.url));
  const beside = join(here, '..', 'web');
  return existsSync(join(beside, 'index.html')) ? join(beside) : join(here, '..', '..', 'dist', 'web');
}

/** Serves one production's workbench. `port` 0 takes any free one. Throws `PW-SERVER-PORT` where the port is taken. */
export async function listen(folder: string, options: { port?: number; webFolder?: string } = {}): Promise<RunningService> {
  const book = Book.open(folder);
  const runner = new JobRunner(book);
  let port = options.port ?? 4780;
  const { app, frames } = createService({ book, runner, webFolder: options.webFolder ?? builtWebFolder(), port: () => port });
  const server = await new Promise<ReturnType<typeof serve>>((done, fail) => {
    const s = serve({ fetch: app.fetch, hostname: '127.0.0.1', port }, (info) => { port = info.port; done(s); });
    s.on('error', (error: NodeJS.ErrnoException) => fail(error.code === 'EADDRINUSE' ? new PlatewrightError('PW-SERVER-PORT', `port ${port} is taken, perhaps by another workbench; give another with --port`, { cause: error }) : error));
  }).catch((error: unknown) => { book.close(); throw error; });
  runner.wake();
  return {
    url: `http://localhost:${port}/`, port,
    close: async () => {
      runner.close();
      await new Promise<void>((done) => {
        server.close(() => done());
        if ('closeAllConnections' in server) server.closeAllConnections();
      });
      await frames.close();
      book.close();
    },
  };
}
