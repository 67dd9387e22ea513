/** Opens the workbench's service on loopback, and the phone's way in beside it where it is asked for. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { serve } from '@hono/node-server';
import { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { JobRunner } from '../jobs/job-runner.js';
import { createService } from './app.js';
import { Pairing } from './pairing.js';
import { listenForPhones, type RunningPhoneDoor } from './phone-listen.js';
import { sweepUploads } from './upload-part.js';

export interface RunningService {
  readonly url: string;
  readonly port: number;
  /** Null where no phone may come in. */
  readonly phones: RunningPhoneDoor | null;
  close(): Promise<void>;
}

/** Folder of the built workbench, whether this runs from dist or from src. */
export function builtWebFolder(): string {
  const here = fileURLToPath(new URL('.', import.meta.url));
  const beside = join(here, '..', 'web');
  return existsSync(join(beside, 'index.html')) ? join(beside) : join(here, '..', '..', 'dist', 'web');
}

/**
 * Serves one production's workbench. `port` 0 takes any free one; `lan` opens the shoot day for phones on one address
 * of the local network (phone-door.ts). Throws `PW-SERVER-PORT` where a port is taken.
 */
export async function listen(
  folder: string,
  options: { port?: number; webFolder?: string; lan?: { address: string; port: number } } = {},
): Promise<RunningService> {
  const book = Book.open(folder);
  sweepUploads(book);
  const runner = new JobRunner(book);
  let port = options.port ?? 4780;
  const pairing = new Pairing();
  let phones: RunningPhoneDoor | null = null;
  const { app, frames } = createService({
    book,
    runner,
    webFolder: options.webFolder ?? builtWebFolder(),
    port: () => port,
    phones: () =>
      phones && { invitation: phones.invitation, renew: () => pairing.renew(), forget: () => pairing.forget() },
  });
  const server = await new Promise<ReturnType<typeof serve>>((done, fail) => {
    const s = serve({ fetch: app.fetch, hostname: '127.0.0.1', port }, (info) => {
      port = info.port;
      done(s);
    });
    s.on('error', (error: NodeJS.ErrnoException) =>
      fail(
        error.code === 'EADDRINUSE'
          ? new PlatewrightError(
              'PW-SERVER-PORT',
              `port ${port} is taken, perhaps by another workbench; give another with --port`,
              { cause: error },
            )
          : error,
      ),
    );
  }).catch((error: unknown) => {
    book.close();
    throw error;
  });
  const closeDesk = async (): Promise<void> => {
    await new Promise<void>((done) => {
      server.close(() => done());
      if ('closeAllConnections' in server) server.closeAllConnections();
    });
    await frames.close();
    book.close();
  };
  if (options.lan !== undefined) {
    try {
      phones = await listenForPhones(
        { desk: app, deskPort: port, pairing, address: options.lan.address },
        options.lan.port,
      );
    } catch (error) {
      runner.close();
      await closeDesk();
      throw error;
    }
  }
  runner.wake();
  return {
    url: `http://localhost:${port}/`,
    port,
    phones,
    close: async () => {
      runner.close();
      await phones?.close();
      await closeDesk();
    },
  };
}
