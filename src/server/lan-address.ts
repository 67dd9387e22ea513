/** This machine's address on the local network. */
import { isIPv4 } from 'node:net';
import { networkInterfaces } from 'node:os';
import { PlatewrightError } from '../core/errors.js';

/** Addresses that no router hands on to the open net (RFC 1918). */
export function isPrivate(address: string): boolean {
  const [a, b] = address.split('.').map(Number) as [number, number];
  return a === 10 || (a === 172 && b >= 16 && b < 32) || (a === 192 && b === 168);
}

/**
 * The address to open for phones: the one asked for, where this machine has it, else its only private one. Throws
 * `PW-SERVER-ADDRESS` where there is none, or several to choose from.
 */
export function lanAddress(
  asked: string | null,
  interfaces: ReturnType<typeof networkInterfaces> = networkInterfaces(),
): string {
  const own = Object.values(interfaces)
    .flatMap((list) => list ?? [])
    .filter((i) => isIPv4(i.address));
  if (asked !== null) {
    if (own.some((i) => i.address === asked)) return asked;
    throw new PlatewrightError(
      'PW-SERVER-ADDRESS',
      `this machine has no address "${asked}"; it has ${own.map((i) => i.address).join(', ') || 'none'}`,
      { kind: 'usage' },
    );
  }
  const near = own.filter((i) => !i.internal && isPrivate(i.address)).map((i) => i.address);
  if (near.length === 1) return near[0]!;
  throw new PlatewrightError(
    'PW-SERVER-ADDRESS',
    near.length === 0
      ? 'this machine is on no local network that could be told; join one, or name its address: --lan 192.168.…'
      : 'this machine has several addresses on local networks; say which one the phone can reach: ' +
          near.map((a) => `--lan ${a}`).join(' or '),
    { kind: 'usage' },
  );
}
