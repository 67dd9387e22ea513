/**
 * What a phone of the local network may and may not do, asked over real TLS: pairing, rights, foreign names and
 * sites, the certificate. Private addresses by RFC 1918.
 */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { request } from 'node:https';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { madeProduction } from '../book/made-production.js';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import { isPrivate, lanAddress } from './lan-address.js';
import { listen, type RunningService } from './listen.js';
import { Pairing } from './pairing.js';
import { phoneMay, phoneMayStart } from './phone-rights.js';
import type { BookState } from './api-types.js';

let folder: string, service: RunningService, address: URL;
let cookie = '';

interface Answer {
  readonly status: number;
  readonly text: string;
  readonly cookie: string;
}

/** One request from the network, its certificate not checked (it is self-signed; the test below reads it). */
function ask(
  path: string,
  o: {
    method?: string;
    body?: string | Buffer;
    headers?: Record<string, string>;
    host?: string;
    paired?: boolean;
  } = {},
): Promise<Answer> {
  return new Promise((done, fail) => {
    const r = request(
      {
        host: address.hostname,
        port: address.port,
        path,
        method: o.method ?? 'GET',
        rejectUnauthorized: false,
        headers: { host: o.host ?? address.host, ...(o.paired === false ? {} : { cookie }), ...o.headers },
      },
      (res) => {
        const chunks: Buffer[] = [];
        res.on('data', (c: Buffer) => chunks.push(c));
        res.on('end', () =>
          done({
            status: res.statusCode!,
            text: Buffer.concat(chunks).toString(),
            cookie: (res.headers['set-cookie'] ?? []).join('\n'),
          }),
        );
      },
    );
    r.on('error', fail);
    r.end(o.body);
  });
}
const json = { 'content-type': 'application/json' };
const pairWith = (code: string) =>
  ask('/api/pair', { method: 'POST', headers: json, body: JSON.stringify({ code }), paired: false });

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-phone-'));
  const w = await VideoWriter.open(join(folder, 'film.mp4'), {
    widthPx: 64,
    heightPx: 48,
    rate: rate(24),
    codec: 'h264',
    crf: 10,
  });
  for (let f = 0; f < 6; f++) {
    const p = createPicture(64, 48, 3);
    p.data.fill(0.3 + 0.05 * f);
    await w.writeCoded(p);
  }
  await w.close();
  const book = await madeProduction(folder, 'Phone walk', join(folder, 'film.mp4'), {
    id: 'one',
    title: 'One',
    in: 1,
    out: 5,
  });
  book.close();
  service = await listen(join(folder, 'production'), { port: 0, lan: { address: '127.0.0.1', port: 0 } });
  address = new URL(service.phones!.invitation().address);
});
afterAll(async () => {
  await service.close();
  rmSync(folder, { recursive: true, force: true });
});

describe("the phone's way in", () => {
  it('lets nobody in without the code, and takes the code once', async () => {
    expect((await ask('/api/book', { paired: false })).status).toBe(401);
    const { code } = service.phones!.invitation();
    const wrong = await pairWith(code === '00000000' ? '11111111' : '00000000');
    expect(wrong.status).toBe(401);
    expect(wrong.text).toContain('PW-SERVER-CODE');
    const right = await pairWith(`${code.slice(0, 4)} ${code.slice(4).toLowerCase()}`);
    expect(right.status).toBe(200);
    expect(right.cookie).toMatch(/^__Host-platewright=[\w-]{43};.*HttpOnly.*Secure.*SameSite=Strict/);
    cookie = right.cookie.split(';')[0]!;
    expect((await pairWith(code)).status).toBe(401);
    expect((await ask('/api/book')).status).toBe(200);
    expect(service.phones!.invitation().phones).toBe(1);
  });

  it('shows the shoot day alone, and nothing of where files lie', async () => {
    const state = JSON.parse((await ask('/api/book')).text) as BookState;
    expect(state.phone).toBe(true);
    expect(state.picks.map((p) => p.title)).toEqual(['One']);
    expect([state.joins, state.moments, state.deliveries, state.history]).toEqual([[], [], [], []]);
    expect(JSON.stringify(state)).not.toContain(folder);
    expect((await ask('/api/frame/plate/one/2')).status).toBe(200);
  });

  it('refuses everything else by name', async () => {
    for (const [method, path] of [
      ['GET', '/api/documents/film'],
      ['GET', '/api/frame/film/film/0'],
      ['GET', '/api/clip/join/one.mp4'],
      ['GET', '/api/delivery/a/0'],
      ['GET', '/api/phone'],
      ['POST', '/api/phone/code'],
      ['POST', '/api/edit'],
      ['POST', '/api/undo'],
      ['POST', '/api/settings'],
      ['POST', '/api/studio'],
      ['POST', '/api/films?name=a.mp4'],
      ['POST', '/api/takes/x/remove'],
      ['DELETE', '/api/takes'],
      ['PUT', '/'],
    ] as const) {
      const a = await ask(path, { method, headers: json, ...(method === 'POST' ? { body: '{}' } : {}) });
      expect([path, a.status]).toEqual([path, 403]);
      expect(a.text).toContain('PW-SERVER-RIGHTS');
    }
    for (const kind of ['deliver', 'join', 'scan', 'reveal'])
      expect(
        (await ask('/api/jobs', { method: 'POST', headers: json, body: JSON.stringify({ kind, subject: 'one' }) }))
          .status,
      ).toBe(403);
    // A way round by dots or doubled signs is either gone before it is judged or meets the workbench's own refusals.
    for (const path of ['/api/frame/plate/../../edit', '/api//edit', '/api/takes/%2e%2e/remove', '/API/edit'])
      expect((await ask(path, { method: 'POST', headers: json, body: '{}' })).status).toBeGreaterThanOrEqual(400);
  });

  it('takes a take in, and has it judged', async () => {
    const sent = await ask('/api/takes?pick=one&name=first.mp4', {
      method: 'POST',
      body: readFileSync(join(folder, 'film.mp4')),
    });
    expect(sent.status).toBe(201);
    const state = JSON.parse((await ask('/api/book')).text) as BookState;
    expect(state.takes).toHaveLength(1);
    expect(state.takes[0]!.pick).toBe('one');
    expect(state.jobs.some((j) => j.kind === 'verdict')).toBe(true);
  });

  it('refuses other names, other sites, and pages of other sites', async () => {
    expect((await ask('/api/book', { host: `evil.example:${address.port}` })).status).toBe(403);
    expect((await ask('/api/book', { host: `localhost:${service.port}` })).status).toBe(403);
    expect(
      (await ask('/api/takes?name=a.mp4', { method: 'POST', headers: { origin: 'https://evil.example' }, body: 'x' }))
        .status,
    ).toBe(403);
    expect((await ask('/api/book', { headers: { 'sec-fetch-site': 'cross-site' } })).status).toBe(403);
  });

  it('the desk sends all phones away', async () => {
    const desk = await fetch(`${service.url}api/phone/forget`, { method: 'POST', headers: json, body: '{}' });
    expect(((await desk.json()) as { phones: number }).phones).toBe(0);
    expect((await ask('/api/book')).status).toBe(401);
  });

  it('its certificate is for its address and matches the fingerprint shown', async () => {
    const seen = await new Promise<{ fingerprint256: string; subjectaltname?: string }>((done, fail) => {
      const r = request(
        { host: address.hostname, port: address.port, path: '/', rejectUnauthorized: false, agent: false },
        (res) => {
          done((res.socket as import('node:tls').TLSSocket).getPeerCertificate());
          res.resume();
        },
      );
      r.on('error', fail);
      r.end();
    });
    expect(seen.fingerprint256).toBe(service.phones!.invitation().fingerprint);
    expect(seen.subjectaltname).toBe('IP Address:127.0.0.1');
  });
});

describe('pairing', () => {
  it('withdraws a code after five wrong ones, and after ten minutes', () => {
    let now = 0;
    const pairing = new Pairing(() => now);
    const { text } = pairing.code();
    for (let i = 0; i < 5; i++) expect(() => pairing.redeem('ZZZZZZZZ')).toThrow(/code/);
    expect(() => pairing.redeem(text)).toThrow('no code holds');
    const later = pairing.code().text;
    now += 10 * 60_000 + 1;
    expect(() => pairing.redeem(later)).toThrow('no code holds');
    const token = pairing.redeem(pairing.code().text);
    expect(pairing.knows(token)).toBe(true);
    expect(pairing.knows(`${token}x`)).toBe(false);
    now += 12 * 3600_000;
    expect(pairing.knows(token)).toBe(false);
  });

  it('reads what a hand writes for another: O for 0, I and L for 1', () => {
    const pairing = new Pairing();
    const { text } = pairing.code();
    expect(pairing.knows(pairing.redeem(text.replaceAll('0', 'o').replaceAll('1', 'l').toLowerCase()))).toBe(true);
  });
});

describe('rights and addresses', () => {
  it('names what a phone may do', () => {
    expect(phoneMay('GET', '/api/book')).toBe(true);
    expect(phoneMay('POST', '/api/book')).toBe(false);
    expect(phoneMay('GET', '/api/books')).toBe(false);
    expect(phoneMayStart('verdict')).toBe(true);
    expect(phoneMayStart('deliver')).toBe(false);
    expect(phoneMayStart(['verdict'])).toBe(false);
  });

  it('finds the one private address, and asks where there are several or none (RFC 1918 ranges)', () => {
    expect(['10.0.0.1', '172.16.0.1', '172.31.255.254', '192.168.3.4'].every(isPrivate)).toBe(true);
    expect(['172.15.0.1', '172.32.0.1', '192.169.0.1', '8.8.8.8', '127.0.0.1'].some(isPrivate)).toBe(false);
    const of = (...list: string[]) =>
      Object.fromEntries(list.map((a, i) => [`e${i}`, [{ address: a, internal: a.startsWith('127.') } as never]]));
    expect(lanAddress(null, of('127.0.0.1', '192.168.1.7'))).toBe('192.168.1.7');
    expect(() => lanAddress(null, of('10.0.0.2', '192.168.1.7'))).toThrow('--lan 10.0.0.2 or --lan 192.168.1.7');
    expect(() => lanAddress(null, of('127.0.0.1'))).toThrow('no local network');
    expect(() => lanAddress('1.2.3.4', of('192.168.1.7'))).toThrow('no address "1.2.3.4"');
  });
});
