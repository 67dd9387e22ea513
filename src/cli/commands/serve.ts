/** `serve`: open the workbench on this machine. */
import { spawn } from 'node:child_process';
import { resolve } from 'node:path';
import type { Command } from 'commander';
import { listen } from '../../server/listen.js';
import { PlatewrightError } from '../../core/errors.js';
import { action } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

export function register(program: Command): void {
  onProduction(program.command('serve').description('Open the workbench: a service on this machine alone, used with a browser.').option('--port <n>', 'port on loopback; 0 takes any free one', '4780').option('--open', 'open the browser too'))
    .action(action(async (o: ProductionOptions & { port: string; open?: boolean }) => {
      const port = Number(o.port);
      if (!Number.isInteger(port) || port < 0 || port > 65535) throw new PlatewrightError('PW-CLI-NUMBER', `--port takes 0 to 65535, but got "${o.port}"`, { kind: 'usage' });
      const folder = await withBook(o, async (book) => book.folder);
      const service = await listen(resolve(folder), { port });
      process.stdout.write(o.json === true ? `${JSON.stringify({ url: service.url, port: service.port })}\n` : `the workbench is at ${service.url} (Ctrl-C closes it)\n`);
      if (o.open === true) openBrowser(service.url);
      await new Promise<void>((done) => {
        process.once('SIGINT', () => done());
        process.once('SIGTERM', () => done());
      });
      await service.close();
    }));
}

/** Opens the usual browser; where there is none, the printed address has to do. */
function openBrowser(url: string): void {
  const [command, ...args] = process.platform === 'darwin' ? ['open', url] : process.platform === 'win32' ? ['cmd', '/c', 'start', '', url] : ['xdg-open', url];
  const child = spawn(command!, args, { stdio: 'ignore', detached: true });
  child.on('error', () => undefined);
  child.unref();
}
