/** `serve`: open the workbench on this machine, and its shoot day to a phone where that is asked for. */
import { spawn } from 'node:child_process';
import { resolve } from 'node:path';
import type { Command } from 'commander';
import { lanAddress } from '../../server/lan-address.js';
import { listen } from '../../server/listen.js';
import { PlatewrightError } from '../../core/errors.js';
import { action } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

/**
 * Adds `serve`: runs until it is stopped; listens on loopback, with --lan also on one address of the network. Its
 * action throws `PW-CLI-NUMBER`, and what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('serve')
      .description('Open the workbench: a service on this machine alone, used with a browser.')
      .option('--port <n>', 'port on loopback; 0 takes any free one', '4780')
      .option('--open', 'open the browser too')
      .option(
        '--lan [address]',
        'open the shoot day, and no more, to a phone on this local network: ' +
          'over TLS, by a code shown on the screen; only in a network that you trust',
      )
      .option('--lan-port <n>', 'port for phones; 0 takes any free one', '4781'),
  ).action(
    action(async (o: ProductionOptions & { port: string; open?: boolean; lan?: string | true; lanPort: string }) => {
      const port = portOf('--port', o.port);
      const lan =
        o.lan === undefined
          ? undefined
          : { address: lanAddress(o.lan === true ? null : o.lan), port: portOf('--lan-port', o.lanPort) };
      const folder = await withBook(o, async (book) => book.folder);
      const service = await listen(resolve(folder), { port, ...(lan === undefined ? {} : { lan }) });
      const invited = service.phones?.invitation();
      const forPhones = invited === undefined ? {} : { phone: invited.address, code: invited.code };
      process.stdout.write(
        o.json === true
          ? `${JSON.stringify({ url: service.url, port: service.port, ...forPhones })}\n`
          : `the workbench is at ${service.url} (Ctrl-C closes it)\n`,
      );
      if (service.phones !== null && o.json !== true) {
        const { address, code, fingerprint } = service.phones.invitation();
        process.stdout.write(
          `\n${service.phones.terminalCode()}\n` +
            `a phone on the same network scans this, or opens ${address} and types ${code}\n` +
            `it will warn of a certificate that nobody vouches for; compare its SHA-256: ${fingerprint}\n`,
        );
      }
      if (o.open === true) openBrowser(service.url);
      await new Promise<void>((done) => {
        process.once('SIGINT', () => done());
        process.once('SIGTERM', () => done());
      });
      await service.close();
    }),
  );
}

function portOf(option: string, text: string): number {
  const port = Number(text);
  if (!Number.isInteger(port) || port < 0 || port > 65535)
    throw new PlatewrightError('PW-CLI-NUMBER', `${option} takes 0 to 65535, but got "${text}"`, { kind: 'usage' });
  return port;
}

/** Opens the usual browser; where there is none, the printed address has to do. */
function openBrowser(url: string): void {
  const [command, ...args] =
    process.platform === 'darwin'
      ? ['open', url]
      : process.platform === 'win32'
        ? ['cmd', '/c', 'start', '', url]
        : ['xdg-open', url];
  const child = spawn(command!, args, { stdio: 'ignore', detached: true });
  child.on('error', () => undefined);
  child.unref();
}
