/** Opens the phone's way in on one address of the local network, over TLS with a certificate made for this run. */
import { X509Certificate } from 'node:crypto';
import { createServer } from 'node:https';
import { serve } from '@hono/node-server';
import { generate } from 'selfsigned';
import { renderSVG, renderUnicodeCompact } from 'uqr';
import { PlatewrightError } from '../core/errors.js';
import type { PhoneInvitation } from './api-types.js';
import { createPhoneDoor, type PhoneDoor } from './phone-door.js';

export interface RunningPhoneDoor {
  invitation(): PhoneInvitation;
  /** The invitation's address as a code for a terminal. */
  terminalCode(): string;
  close(): Promise<void>;
}

/** `port` 0 takes any free one. Throws `PW-SERVER-PORT` where the port is taken. */
export async function listenForPhones(door: Omit<PhoneDoor, 'port'>, asked: number): Promise<RunningPhoneDoor> {
  const now = new Date();
  // A day's certificate: nobody is asked to trust it for longer than the shoot.
  const made = await generate([{ name: 'commonName', value: 'Platewright' }], {
    keyType: 'ec',
    curve: 'P-256',
    algorithm: 'sha256',
    notBeforeDate: new Date(now.getTime() - 3600_000),
    notAfterDate: new Date(now.getTime() + 48 * 3600_000),
    extensions: [
      { name: 'basicConstraints', cA: false },
      { name: 'keyUsage', digitalSignature: true },
      { name: 'extKeyUsage', serverAuth: true },
      { name: 'subjectAltName', altNames: [{ type: 7, ip: door.address }] },
    ],
  });
  let port = asked;
  const app = createPhoneDoor({ ...door, port: () => port });
  const server = await new Promise<ReturnType<typeof serve>>((done, fail) => {
    const s = serve(
      {
        fetch: app.fetch,
        hostname: door.address,
        port,
        createServer,
        serverOptions: { key: made.private, cert: made.cert, minVersion: 'TLSv1.2' },
      },
      (info) => {
        port = info.port;
        done(s);
      },
    );
    s.on('error', (error: NodeJS.ErrnoException) =>
      fail(
        error.code === 'EADDRINUSE'
          ? new PlatewrightError(
              'PW-SERVER-PORT',
              `port ${port} of ${door.address} is taken; give another with --lan-port`,
              { cause: error },
            )
          : error,
      ),
    );
  });
  const fingerprint = new X509Certificate(made.cert).fingerprint256;
  const { pairing } = door;
  const address = (): string => `https://${door.address}:${port}/#/pair/${pairing.code().text}`;
  return {
    invitation: () => {
      const code = pairing.code();
      return {
        address: `https://${door.address}:${port}/`,
        code: code.text,
        until: code.until,
        phones: pairing.phones,
        fingerprint,
        svg: renderSVG(address(), { border: 4 }),
      };
    },
    terminalCode: () => renderUnicodeCompact(address(), { border: 2 }),
    close: async () => {
      await new Promise<void>((done) => {
        server.close(() => done());
        if ('closeAllConnections' in server) server.closeAllConnections();
      });
    },
  };
}
