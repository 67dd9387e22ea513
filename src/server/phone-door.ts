/**
 * The phone's way in (`serve --lan`): an app of its own before the workbench's. It lets through requests that name
 * this address (a page of another site cannot), come from its own pages, carry a paired phone's token and ask for what
 * the shoot day needs (phone-rights.ts); those go on to the workbench as if from this machine. Built pages are open to
 * all: there is nothing of the production in them.
 */
import { Hono, type Context } from 'hono';
import { getCookie, setCookie } from 'hono/cookie';
import { z } from 'zod';
import { PlatewrightError } from '../core/errors.js';
import type { BookState } from './api-types.js';
import { splitHost } from './guard.js';
import type { Pairing } from './pairing.js';
import { PHONE_SECONDS } from './pairing.js';
import { phoneMay, phoneMayStart, phoneState } from './phone-rights.js';
import { jsonBody, parseAs } from './requests.js';

const COOKIE = '__Host-platewright';
const REFUSED: Readonly<Record<string, 401 | 403>> = {
  'PW-SERVER-UNPAIRED': 401,
  'PW-SERVER-CODE': 401,
  'PW-SERVER-HOST': 403,
  'PW-SERVER-ORIGIN': 403,
  'PW-SERVER-RIGHTS': 403,
};

export interface PhoneDoor {
  /** The workbench's own app. */
  readonly desk: { fetch(request: Request): Response | Promise<Response> };
  readonly deskPort: number;
  readonly pairing: Pairing;
  readonly address: string;
  readonly port: () => number;
}

/** The app that stands before the workbench's. */
export function createPhoneDoor(door: PhoneDoor): Hono {
  const app = new Hono();
  app.onError((error, c) => {
    const known = error instanceof PlatewrightError;
    return c.json(
      {
        error: {
          code: known ? error.code : 'PW-INTERNAL',
          message: known ? error.message : 'the workbench could not do that',
        },
      },
      known ? (REFUSED[error.code] ?? 400) : 500,
    );
  });
  app.use('*', async (c, next) => {
    const host = splitHost(c.req.header('host') ?? '');
    if (host === null || host.name !== door.address || Number(host.port === '' ? 443 : host.port) !== door.port())
      throw new PlatewrightError(
        'PW-SERVER-HOST',
        `the shoot day answers at https://${door.address}:${door.port()} only`,
        { kind: 'usage' },
      );
    const origin = c.req.header('origin');
    if (
      (origin !== undefined && origin !== `https://${door.address}:${door.port()}`) ||
      c.req.header('sec-fetch-site') === 'cross-site'
    )
      throw new PlatewrightError('PW-SERVER-ORIGIN', 'a page of another site may not use the workbench', {
        kind: 'usage',
      });
    await next();
  });
  app.post('/api/pair', async (c) => {
    const { code } = parseAs(z.object({ code: z.string().min(1).max(40) }), await jsonBody(c), 'this code');
    setCookie(c, COOKIE, door.pairing.redeem(code), {
      path: '/',
      secure: true,
      httpOnly: true,
      sameSite: 'Strict',
      maxAge: PHONE_SECONDS,
    });
    return c.json({ paired: true });
  });
  app.all('/api/*', async (c) => {
    if (!door.pairing.knows(getCookie(c, COOKIE)))
      throw new PlatewrightError(
        'PW-SERVER-UNPAIRED',
        'this phone is not paired with the workbench (any more); scan the code on its Shoot day page',
        { kind: 'usage' },
      );
    if (!phoneMay(c.req.method, c.req.path)) throw notForPhones();
    if (c.req.path === '/api/jobs' && c.req.method === 'POST') {
      const asked = (await jsonBody(c)) as { kind?: unknown };
      if (!phoneMayStart(asked.kind)) throw notForPhones();
      return forward(door, c, JSON.stringify(asked));
    }
    const answer = await forward(door, c);
    if (c.req.path !== '/api/book' || !answer.ok) return answer;
    return c.json(phoneState((await answer.json()) as BookState), 200, { 'Cache-Control': 'no-store' });
  });
  app.get('*', (c) => Promise.resolve(forward(door, c)));
  app.all('*', () => {
    throw notForPhones();
  });
  return app;
}

function notForPhones(): PlatewrightError {
  return new PlatewrightError('PW-SERVER-RIGHTS', "a phone may do the shoot day's work only; do this at the computer", {
    kind: 'usage',
  });
}

/** The same request as the workbench takes it; of the headers only those that mean something there. */
async function forward(door: PhoneDoor, c: Context, text?: string): Promise<Response> {
  const url = new URL(c.req.url);
  const headers = new Headers({ host: `localhost:${door.deskPort}` });
  for (const name of ['content-type', 'range', 'accept']) {
    const value = c.req.header(name);
    if (value !== undefined) headers.set(name, value);
  }
  const bare = c.req.method === 'GET' || c.req.method === 'HEAD';
  return door.desk.fetch(
    new Request(`http://localhost:${door.deskPort}${url.pathname}${url.search}`, {
      method: c.req.method,
      headers,
      signal: c.req.raw.signal,
      ...(bare ? {} : { body: text ?? c.req.raw.body, duplex: 'half' }),
    } as RequestInit),
  );
}
