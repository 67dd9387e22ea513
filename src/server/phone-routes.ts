/** What the computer's own pages ask of the phone's way in: its invitation, a new code, and to forget who came in. */
import type { Hono } from 'hono';
import { PlatewrightError } from '../core/errors.js';
import type { PhoneInvitation } from './api-types.js';
import { jsonBody } from './requests.js';

/** What the computer's pages may ask of the phone's way in. */
export interface PhoneDesk {
  invitation(): PhoneInvitation;
  renew(): void;
  forget(): void;
}

/** Adds the routes; `desk` is null while no phone can come in, and is asked for when a request comes. */
export function phoneRoutes(app: Hono, desk: () => PhoneDesk | null): void {
  const phones = (): PhoneDesk => {
    const open = desk();
    if (open === null)
      throw new PlatewrightError('PW-SERVER-NO-SUCH', 'no phone can come in; start the workbench with --lan', {
        kind: 'usage',
      });
    return open;
  };
  app.get('/api/phone', (c) => c.json(desk()?.invitation() ?? null));
  app.post('/api/phone/code', async (c) => {
    await jsonBody(c);
    phones().renew();
    return c.json(phones().invitation());
  });
  app.post('/api/phone/forget', async (c) => {
    await jsonBody(c);
    phones().forget();
    return c.json(phones().invitation());
  });
}
