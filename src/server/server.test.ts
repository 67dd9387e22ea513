/**
 * The workbench's service over real HTTP on a small made production: who may come in, pictures and ranges, edits and
 * undo, events, uploads, and how films and takes find their place.
 */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync, existsSync, readdirSync } from 'node:fs';
import { spawnSync } from 'node:child_process';
import { request } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { Book } from '../book/book.js';
import { addFilm, addTake } from '../book/add-media.js';
import { looseTake, takePath } from '../book/take-place.js';
import { newProduction } from '../book/new-production.js';
import { createPicture, plane } from '../image/picture.js';
import { rate } from '../core/rational.js';
import { writePng16 } from '../media/stills.js';
import { filmPath } from '../jobs/plate-clip.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { listen, type RunningService } from './listen.js';
import type { BookState } from './api-types.js';
import { splitHost } from './guard.js';

let folder: string, service: RunningService, base: string;
const gone = spawnSync(process.execPath, ['-e', '']).pid;

async function film(path: string, frames: number): Promise<void> {
  const w = await VideoWriter.open(path, { widthPx: 64, heightPx: 48, rate: rate(24), codec: 'h264', crf: 10 });
  for (let f = 0; f < frames; f++) {
    const p = createPicture(64, 48, 3);
    for (let c = 0; c < 3; c++) plane(p, c).fill(0.2 + 0.02 * f + 0.1 * c);
    await w.writeCoded(p);
  }
  await w.close();
}

const UUID = '3541417e-cc7a-489a-be8e-eb78918e80d0';
/** Parts of uploads: of a process that is gone, and of one that runs (this test's). */
const partsLeft = (): string[] => [`.${gone}-${UUID}.mp4`, `.${process.pid}-${UUID}.mp4`];

/** Raw request: fetch would not let a Host header through. */
function raw(
  path: string,
  headers: Record<string, string>,
  method = 'GET',
  body?: Buffer | string,
): Promise<{ status: number; text: string; headers: Record<string, unknown> }> {
  return new Promise((done, fail) => {
    const r = request({ host: '127.0.0.1', port: service.port, path, method, headers }, (res) => {
      const chunks: Buffer[] = [];
      res.on('data', (c: Buffer) => chunks.push(c));
      res.on('end', () =>
        done({ status: res.statusCode!, text: Buffer.concat(chunks).toString(), headers: res.headers }),
      );
    });
    r.on('error', fail);
    r.end(body);
  });
}

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-server-'));
  await film(join(folder, 'film.mp4'), 12);
  await film(join(folder, 'take.mp4'), 6);
  const book = Book.create(join(folder, 'production'));
  book.edit('start', (e) => e.put('production', newProduction('Server walk')));
  await addFilm(book, join(folder, 'film.mp4'), { title: 'Film' });
  book.edit('pick', (e) =>
    e.put('pick', {
      id: 'one',
      film: 'film',
      title: 'One',
      in: 2,
      out: 8,
      order: 1,
      note: '',
      marks: { frame: 0, marks: [] },
      action: '',
    }),
  );
  await addTake(book, join(folder, 'take.mp4'), { pick: 'one' });
  book.close();
  for (const name of partsLeft()) writeFileSync(join(folder, 'production', 'takes', name), 'x');
  service = await listen(join(folder, 'production'), { port: 0 });
  base = `http://localhost:${service.port}`;
});
afterAll(async () => {
  await service.close();
  rmSync(folder, { recursive: true, force: true });
});

const post = (path: string, value: unknown, headers: Record<string, string> = {}) =>
  fetch(base + path, {
    method: 'POST',
    headers: { 'content-type': 'application/json', ...headers },
    body: JSON.stringify(value),
  });
const pulse = async (): Promise<string> =>
  ((await (await fetch(`${base}/api/book`)).json()) as { pulse: string }).pulse;

describe('who may come in', () => {
  it('refuses a foreign Host, a foreign Origin, a page without origin, and a foreign site', async () => {
    for (const host of [
      'evil.example',
      `evil.example:${service.port}`,
      '127.0.0.1',
      `localhost.evil.example:${service.port}`,
      '192.168.1.4:4780',
      '',
    ]) {
      const r = await raw('/api/book', host === '' ? { host: ' ' } : { host });
      expect([400, 403]).toContain(r.status);
      expect(r.text).not.toContain('Server walk');
    }
    const own = { host: `localhost:${service.port}` };
    expect((await raw('/api/book', own)).status).toBe(200);
    expect((await raw('/api/book', { ...own, origin: 'http://evil.example' })).text).toContain('PW-SERVER-ORIGIN');
    expect((await raw('/api/book', { ...own, origin: 'null' })).text).toContain('PW-SERVER-ORIGIN');
    expect((await raw('/api/book', { ...own, 'sec-fetch-site': 'cross-site' })).status).toBe(403);
    expect((await raw('/api/book', { ...own, origin: `http://127.0.0.1:${service.port}` })).status).toBe(200);
    expect(splitHost('[::1]:80')).toEqual({ name: '[::1]', port: '80' });
    expect(splitHost('a b')).toBeNull();
  });
  it("takes no plain form as an edit, so that a foreign page can't send one", async () => {
    const before = await pulse();
    const r = await fetch(`${base}/api/edit`, {
      method: 'POST',
      headers: { 'content-type': 'text/plain' },
      body: JSON.stringify({ title: 'x', changes: [{ do: 'remove', kind: 'pick', id: 'one' }] }),
    });
    expect(r.status).toBe(400);
    expect(await pulse()).toBe(before);
  });
  it('lets no path leave the production or the workbench', async () => {
    const own = { host: `localhost:${service.port}` };
    for (const path of [
      '/../../../etc/passwd',
      '/..%2f..%2f..%2fetc%2fpasswd',
      '/assets/..%5c..%5c..%5cetc%5cpasswd',
      '/api/frame/film/..%2f..%2fx/0',
      '/api/clip/take/..%2f..%2f..%2fetc%2fpasswd.mp4',
      '/api/delivery/x/0',
    ]) {
      const r = await raw(path, own);
      expect(r.text).not.toContain('root:');
      if (path.startsWith('/api/')) expect(r.status).toBeGreaterThanOrEqual(400);
    }
  });
});

describe('pictures', () => {
  it("serves frames and exact pixels, counted from the pick's first frame", async () => {
    const r = await fetch(`${base}/api/frame/plate/one/0?w=32`);
    expect(r.headers.get('content-type')).toBe('image/jpeg');
    const film2 = (await (await fetch(`${base}/api/pixel/film/film/2?x=10&y=10`)).json()) as { coded: number[] };
    const plate0 = (await (await fetch(`${base}/api/pixel/plate/one/0?x=10&y=10`)).json()) as { coded: number[] };
    plate0.coded.forEach((v, i) => expect(v).toBeCloseTo(film2.coded[i]!, 5));
    expect(film2.coded[0]!).toBeCloseTo(0.24, 1);
  });
  it('serves frames of picture sequences, films and takes alike; gone ones are missing', async () => {
    const book = Book.open(join(folder, 'production'));
    const pictures = join(folder, 'pictures');
    mkdirSync(pictures);
    try {
      for (const n of [0, 1, 2]) {
        const p = createPicture(64, 48, 3);
        p.data.fill(0.3 + 0.1 * n);
        await writePng16(join(pictures, `walk_0${n}.png`), p);
      }
      const pattern = join(pictures, 'walk_%02d.png');
      await addFilm(book, pattern, { id: 'drawn' });
      await addTake(book, pattern, { id: 'walk' });
      for (const [what, id] of [
        ['film', 'drawn'],
        ['take', 'walk'],
      ]) {
        const r = await fetch(`${base}/api/pixel/${what}/${id}/2?x=10&y=10`);
        expect(((await r.json()) as { coded: number[] }).coded[0]!).toBeCloseTo(0.5, 2);
      }
      expect(filmPath(book, book.need('film', 'drawn'))).toBe(pattern);
      expect(takePath(book, book.need('take', 'walk'))).toBe(pattern);
      rmSync(pictures, { recursive: true });
      const missing = ((await (await fetch(`${base}/api/book`)).json()) as BookState).missing;
      expect(missing).toMatchObject({ films: ['drawn'], takes: ['walk'] });
      expect(() => takePath(book, book.need('take', 'walk'))).toThrow('put it back there');
      book.undo();
      book.undo();
    } finally {
      book.close();
    }
  });
  it('names what is wrong with a bad frame, width, document, kind', async () => {
    for (const [path, code] of [
      ['/api/frame/film/film/12', 'PW-FRAME-RANGE'],
      ['/api/frame/film/film/-1', 'PW-FRAME-RANGE'],
      ['/api/frame/film/film/1?w=9', 'PW-FRAME-WIDTH'],
      ['/api/frame/film/none/1', 'PW-BOOK-NO-SUCH'],
      ['/api/frame/desk/film/1', 'PW-SERVER-NO-SUCH'],
      ['/api/frame/join/one/0', 'PW-BOOK-NO-SUCH'],
      ['/api/documents/secret', 'PW-SERVER-NO-SUCH'],
      ['/api/nothing', 'PW-SERVER-NO-SUCH'],
      ['/api/preview/one/0', 'PW-BOOK-NO-SUCH'],
      ['/api/preview/one/0?set=ground', 'PW-SERVER-FORM'],
      ['/api/grain/one/0', 'PW-GRAIN-UNMEASURED'],
      ['/api/clip/quick/take.mp4', 'PW-SERVER-NO-SUCH'],
      ['/api/clip/quick/none.mp4', 'PW-BOOK-NO-SUCH'],
      ['/api/file/cue.wav?pick=one', 'PW-BRIEF-NONE'],
      ['/api/pixel/film/film/0?x=900&y=1', 'PW-FRAME-RANGE'],
    ] as const) {
      const r = await fetch(base + path);
      expect(r.status).toBeGreaterThanOrEqual(400);
      expect(((await r.json()) as { error: { code: string } }).error.code).toBe(code);
    }
  });
  it('proposes no marks for a frame that the pick does not have', async () => {
    expect((await fetch(`${base}/api/propose-marks/plate/one/99`)).status).toBe(400);
  });
  it('makes a clip once for all that ask for it at the same time', async () => {
    const asked = await Promise.all(
      [0, 1, 2].map(async () => {
        const r = await fetch(`${base}/api/clip/plate/one.mp4`);
        expect(r.status).toBe(200);
        return Buffer.from(await r.arrayBuffer());
      }),
    );
    expect(asked[0]!.length).toBeGreaterThan(500);
    for (const clip of asked) expect(clip.equals(asked[0]!)).toBe(true);
    const kept = readdirSync(join(folder, 'production', 'cache', 'web'));
    expect(kept).toHaveLength(1);
    const copy = join(folder, 'asked.mp4');
    writeFileSync(copy, asked[0]!);
    const reader = await VideoReader.open(copy);
    expect(reader.info.frameCount).toBe(6);
    await reader.close();
  });
  it('answers range requests as a video element asks them', async () => {
    const r = await fetch(`${base}/api/clip/take/take.mp4`, { headers: { range: 'bytes=0-99' } });
    expect(r.status).toBe(206);
    expect((await r.arrayBuffer()).byteLength).toBe(100);
    expect((await fetch(`${base}/api/clip/take/take.mp4`, { headers: { range: 'bytes=99999999-' } })).status).toBe(416);
  });
});

describe('edits', () => {
  it('keeps an edit, takes it back, does it again', async () => {
    const pick = (await (await fetch(`${base}/api/documents/pick/one`)).json()) as Record<string, unknown>;
    expect(
      (
        await post('/api/edit', {
          title: 'rename',
          changes: [{ do: 'put', kind: 'pick', document: { ...pick, title: 'Renamed' } }],
        })
      ).status,
    ).toBe(200);
    const title = async (): Promise<string> =>
      ((await (await fetch(`${base}/api/documents/pick/one`)).json()) as { title: string }).title;
    expect(await title()).toBe('Renamed');
    await post('/api/undo', {});
    expect(await title()).toBe('One');
    await post('/api/redo', {});
    expect(await title()).toBe('Renamed');
  });
  it('changes the named fields of a document and leaves what another hand has changed meanwhile', async () => {
    const read = async (): Promise<Record<string, unknown>> =>
      (await (await fetch(`${base}/api/documents/pick/one`)).json()) as Record<string, unknown>;
    const before = await read();
    expect(
      (
        await post('/api/edit', {
          title: 'note',
          changes: [{ do: 'change', kind: 'pick', id: 'one', fields: { note: 'from the other window' } }],
        })
      ).status,
    ).toBe(200);
    expect(
      (
        await post('/api/edit', {
          title: 'order',
          changes: [{ do: 'change', kind: 'pick', id: 'one', fields: { order: 7, id: 'two' } }],
        })
      ).status,
    ).toBe(200);
    expect(await read()).toEqual({ ...before, note: 'from the other window', order: 7 });
    const gone = await post('/api/edit', {
      title: 'gone',
      changes: [{ do: 'change', kind: 'pick', id: 'nobody', fields: { note: 'x' } }],
    });
    expect(gone.status).toBeGreaterThanOrEqual(400);
    expect(await gone.text()).toContain('nobody');
    await post('/api/undo', {});
    await post('/api/undo', {});
    expect(await read()).toEqual(before);
  });
  it('changes a limit of the verdict, refuses nonsense, and takes it back', async () => {
    const limit = async (): Promise<number[]> => {
      const t = ((await (await fetch(`${base}/api/book`)).json()) as BookState).settings.tolerances.find(
        (x) => x.name === 'keyFill',
      )!;
      return [t.fits, t.mendable];
    };
    expect(await limit()).toEqual([0.5, 1.5]);
    expect((await post('/api/settings', { name: 'keyFill', numbers: [1, 2] })).status).toBe(200);
    expect(await limit()).toEqual([1, 2]);
    for (const bad of [
      { name: 'keyFill', numbers: [2, 1] },
      { name: 'nothing', numbers: [1, 2] },
      { name: 'keyFill', numbers: 'x' },
      { name: 'keyFill' },
    ])
      expect((await post('/api/settings', bad)).status).toBe(400);
    expect(await limit()).toEqual([1, 2]);
    await post('/api/undo', {});
    expect(await limit()).toEqual([0.5, 1.5]);
  });
  it('leaves the book unchanged by malformed edits', async () => {
    const before = await pulse();
    const bad = [
      {},
      { title: 'x' },
      { title: 'x', changes: [] },
      { title: 'x', changes: [{ do: 'put', kind: 'pick', document: { id: 'Bad Id' } }] },
      { title: 'x', changes: [{ do: 'burn', kind: 'pick', id: 'one' }] },
      {
        title: 'x',
        changes: [
          { do: 'remove', kind: 'pick', id: 'one' },
          { do: 'put', kind: 'pick', document: { id: 'two' } },
        ],
      },
    ];
    for (const b of bad) expect((await post('/api/edit', b)).status).toBeGreaterThanOrEqual(400);
    expect(
      (
        await fetch(`${base}/api/edit`, {
          method: 'POST',
          headers: { 'content-type': 'application/json' },
          body: '{not json',
        })
      ).status,
    ).toBe(400);
    expect((await post('/api/jobs', { kind: 'dance', subject: '' })).status).toBe(400);
    expect(await pulse()).toBe(before);
  });
  it('tells of a change by server-sent events, also of one made elsewhere', async () => {
    const stop = new AbortController();
    const r = await fetch(`${base}/api/events`, { signal: stop.signal });
    const reader = r.body!.getReader();
    const other = Book.open(join(folder, 'production'));
    let text = '';
    const seen = (async () => {
      while (!/event: pulse[\s\S]*event: pulse/.test(text)) {
        const { value, done } = await reader.read();
        if (done) break;
        text += Buffer.from(value).toString();
      }
    })();
    await expect.poll(() => text).toMatch(/event: pulse/);
    other.edit('elsewhere', (e) => e.put('purpose', { id: 'film', text: 'because' }));
    other.close();
    await seen;
    stop.abort();
    expect(text).toMatch(/event: pulse/);
  });
});

describe('uploads', () => {
  const hidden = (): string[] => readdirSync(join(folder, 'production', 'takes')).filter((n) => n.startsWith('.'));

  it('leaves nothing of one that breaks off, nor of one whose service was killed', async () => {
    // The service swept when it started; what a process that runs still receives is left alone.
    expect(hidden()).toEqual([partsLeft()[1]]);
    const path = '/api/takes?name=half.mp4&pick=one';
    const half = request({
      host: '127.0.0.1',
      port: service.port,
      path,
      method: 'POST',
      headers: { host: `localhost:${service.port}`, 'content-length': '5000000' },
    });
    half.on('error', () => undefined);
    half.write(Buffer.alloc(300_000, 7));
    await expect.poll(() => hidden().length).toBe(2);
    const said: string[] = [];
    const write = vi.spyOn(process.stderr, 'write').mockImplementation((text) => said.push(String(text)) > 0);
    half.destroy();
    await expect.poll(() => hidden().length).toBe(1);
    // Nobody is there to be told, and it is no fault of the program that the terminal would have to hear of.
    await new Promise((done) => setTimeout(done, 500));
    write.mockRestore();
    expect(said.join('')).toBe('');
    rmSync(join(folder, 'production', 'takes', partsLeft()[1]!));
  });
  it('refuses what is no film, keeps nothing of it, and goes on', async () => {
    const before = await pulse();
    for (const [name, body, code] of [
      ['notes.mp4', Buffer.from('this is text, not film. '.repeat(200)), 'PW-MEDIA'],
      ['empty.mp4', Buffer.alloc(0), 'PW-'],
      ['virus.exe', Buffer.from('MZ'), 'PW-UPLOAD-KIND'],
      ['cut.mp4', Buffer.from([0, 0, 0, 24, 0x66, 0x74, 0x79, 0x70, 0x69, 0x73, 0x6f, 0x6d]), 'PW-MEDIA'],
    ] as const) {
      const r = await fetch(`${base}/api/takes?pick=one&name=${name}`, { method: 'POST', body });
      expect(r.status).toBeGreaterThanOrEqual(400);
      const { error } = (await r.json()) as { error: { code: string; message: string } };
      expect(error.code.startsWith(code)).toBe(true);
      // It speaks of the file by the sender's name, not by the one it has on its way in.
      expect(error.message).toContain(name);
    }
    expect((await fetch(`${base}/api/takes?pick=nobody&name=a.mp4`, { method: 'POST', body: 'x' })).status).toBe(404);
    expect(await pulse()).toBe(before);
    expect(readdirSync(join(folder, 'production', 'takes')).filter((f) => f.startsWith('.'))).toEqual([]);
  });
  it('takes a real film under a plain name, whatever the sender called it', async () => {
    const r = await fetch(`${base}/api/takes?name=${encodeURIComponent('../../Évil name!.mp4')}`, {
      method: 'POST',
      body: readFileSync(join(folder, 'take.mp4')),
    });
    expect(r.status).toBe(201);
    const { id } = (await r.json()) as { id: string };
    expect(id).toMatch(/^[a-z0-9-]+$/);
    expect(existsSync(join(folder, 'production', 'takes', `${id}.mp4`))).toBe(true);
  });
});

describe('films and takes find their place', () => {
  const state = async (): Promise<BookState> => (await (await fetch(`${base}/api/book`)).json()) as BookState;
  const fails = async (r: Response, code: string): Promise<string> => {
    const { error } = (await r.json()) as { error: { code: string; message: string } };
    expect(error.code).toBe(code);
    return error.message;
  };
  it("a take for no pick can't be judged, says the ways out, and is judged once it has a pick", async () => {
    const { id } = (await (
      await fetch(`${base}/api/takes?name=${encodeURIComponent('собака.mp4')}`, {
        method: 'POST',
        body: readFileSync(join(folder, 'take.mp4')),
      })
    ).json()) as { id: string };
    const take = async () => (await state()).takes.find((t) => t.id === id)!;
    expect([id.startsWith('take'), (await take()).pick, (await take()).title]).toEqual([true, null, 'собака']);
    expect((await state()).jobs.some((j) => j.subject === id)).toBe(false);
    const r = await post(`/api/takes/${id}/pick`, { pick: 'one' });
    expect(r.status).toBe(200);
    expect((await take()).pick).toBe('one');
    expect((await state()).jobs.filter((j) => j.subject === id).map((j) => j.kind)).toContain('verdict');
    for (const j of (await state()).jobs) await post(`/api/jobs/${j.id}/stop`, {});
    // A verdict is one against a pick: it does not go along.
    await post('/api/edit', {
      title: 'verdict',
      changes: [
        {
          do: 'change',
          kind: 'take',
          id,
          fields: { verdict: { verdict: 'fits', span: { in: 0, out: 6 }, matters: [], notes: [] }, star: true },
        },
      ],
    });
    expect((await post(`/api/takes/${id}/pick`, { pick: null })).status).toBe(200);
    expect([(await take()).verdict, (await take()).star]).toEqual([undefined, true]);
    await fails(await post(`/api/takes/${id}/pick`, { pick: 'nobody' }), 'PW-BOOK-NO-SUCH');
    // Filmed upside down: turned, its pixels are the other way round.
    await fails(await post(`/api/takes/${id}/turn`, { clockwise: 45 }), 'PW-TAKE-TURN');
    expect((await post(`/api/takes/${id}/turn`, { clockwise: 90 })).status).toBe(200);
    expect([(await take()).info.video!.widthPx, (await take()).info.video!.heightPx]).toEqual([48, 64]);
    await post('/api/undo', {});
    expect((await take()).info.video!.widthPx).toBe(64);
    const book = Book.open(join(folder, 'production'));
    try {
      expect(looseTake(book.need('take', id)).message).toContain(`platewright take for ${id} PICK`);
      expect(() => takePath(book, { ...book.need('take', id), file: 'takes/gone.mp4' })).toThrow(
        `platewright take remove ${id}`,
      );
      book.edit('join', (e) => e.put('join', { id: 'one', take: id, recipe: { version: 1 } as never }));
      expect(await fails(await post(`/api/takes/${id}/remove`, {}), 'PW-TAKE-USED')).toContain(
        'the join of Renamed is built with собака',
      );
      book.undo();
      expect((await post(`/api/takes/${id}/remove`, {})).status).toBe(200);
      expect(await take()).toBeUndefined();
      book.undo();
      expect((await take()).title).toBe('собака');
    } finally {
      book.close();
    }
  });
  it('one take serves two picks: the same file, with its marks, judged by itself', async () => {
    const [first] = (await state()).takes;
    await post('/api/edit', {
      title: 'another pick',
      changes: [
        { do: 'put', kind: 'pick', document: { ...(await state()).picks[0]!, id: 'two', title: 'Two', order: 2 } },
      ],
    });
    const r = await post(`/api/takes/${first!.id}/also`, { pick: 'two' });
    expect(r.status).toBe(201);
    const { id } = (await r.json()) as { id: string };
    const twin = (await state()).takes.find((t) => t.id === id)!;
    expect([twin.pick, twin.file, twin.star, twin.verdict]).toEqual(['two', first!.file, false, undefined]);
    expect(twin.marks).toEqual(first!.marks);
    expect(twin.title).toBe(`${first!.title} (2)`);
    expect((await state()).takes.find((t) => t.id === first!.id)!.pick).toBe(first!.pick);
    for (const j of (await state()).jobs) await post(`/api/jobs/${j.id}/stop`, {});
    expect(await fails(await post(`/api/takes/${first!.id}/also`, { pick: 'two' }), 'PW-TAKE-TWICE')).toContain(
      'is a take of Two already',
    );
    await fails(await post(`/api/takes/${first!.id}/also`, { pick: 'nobody' }), 'PW-BOOK-NO-SUCH');
    await post('/api/undo', {});
    expect((await state()).takes.some((t) => t.id === id)).toBe(false);
    await post('/api/undo', {});
  });
  it('a film is sent, found missing, sent again; another film is refused in its place', async () => {
    const same = readFileSync(join(folder, 'film.mp4'));
    const twice = await fetch(`${base}/api/films?name=b.mp4`, { method: 'POST', body: same });
    expect(await fails(twice, 'PW-FILM-TWICE')).toContain('"b.mp4" is in the book already, as the film "Film"; pick');
    expect([(await state()).films.length, readdirSync(join(folder, 'production', 'films'))]).toEqual([1, []]);
    // An empty box at its end (ISO/IEC 14496-12, 8.1.2) makes another file of it.
    const bytes = Buffer.concat([same, Buffer.from('\0\0\0\x08free', 'latin1')]);
    const r = await fetch(`${base}/api/films?name=${encodeURIComponent('Двор.mp4')}`, { method: 'POST', body: bytes });
    expect(r.status).toBe(201);
    const { id } = (await r.json()) as { id: string };
    const film = async () => (await state()).films.find((f) => f.id === id)!;
    expect([(await film()).title, (await film()).file, (await state()).missing.films]).toEqual([
      'Двор',
      'films/film.mp4',
      [],
    ]);
    expect((await state()).jobs.some((j) => j.kind === 'scan' && j.subject === id)).toBe(true);
    rmSync(join(folder, 'production', 'films', 'film.mp4'));
    expect((await state()).missing.films).toEqual([id]);
    expect(await fails(await fetch(`${base}/api/frame/film/${id}/0`), 'PW-MEDIA-MISSING')).toContain(
      `platewright film relink ${id} FILE`,
    );
    const other = await fails(
      await fetch(`${base}/api/films?film=${id}&name=b.mp4`, {
        method: 'POST',
        body: readFileSync(join(folder, 'take.mp4')),
      }),
      'PW-FILM-OTHER',
    );
    expect(other).toContain('6 frames, where the book has 64 × 48, 24/1, 12 frames');
    expect(readdirSync(join(folder, 'production', 'films'))).toEqual([]);
    expect((await fetch(`${base}/api/films?film=${id}&name=again.mp4`, { method: 'POST', body: bytes })).status).toBe(
      201,
    );
    expect([(await film()).file, (await state()).missing.films]).toEqual(['films/again.mp4', []]);
    await fails(await post('/api/films/film/remove', {}), 'PW-FILM-USED');
    for (const j of (await state()).jobs) await post(`/api/jobs/${j.id}/stop`, {});
    expect((await post(`/api/films/${id}/remove`, {})).status).toBe(200);
    expect(await film()).toBeUndefined();
    await fails(await fetch(`${base}/api/films?name=list.txt`, { method: 'POST', body: 'x' }), 'PW-UPLOAD-KIND');
  });
});

it('says that a port is taken', async () => {
  writeFileSync(join(folder, 'x'), '');
  await expect(listen(join(folder, 'production'), { port: service.port })).rejects.toThrow(/PW-SERVER-PORT/);
});
