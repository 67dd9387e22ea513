/**
 * What the cut hands to other programs, held against the published formats
 * (test/published/interchange.json names them).
 */
import { readFileSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { writeCsv } from '../core/csv.js';
import { rate } from '../core/rational.js';
import { parseTimecode } from '../core/timecode.js';
import { C, FormatContext, Packet } from '../media/ffmpeg.js';
import { writeSubRip, writeWebVtt, type Caption } from './captions.js';
import { writeEdl } from './edl.js';
import { ledgerCsv, makeLedger } from './ledger.js';
import { writeOtio } from './otio.js';
import { placeItems, type Programme, type ProgrammeItem } from './programme.js';

const published = JSON.parse(
  readFileSync(join(import.meta.dirname, '..', '..', 'test', 'published', 'interchange.json'), 'utf8'),
) as {
  edl: { columns: Record<string, [number, number]> };
  csv: { cases: { rule: string; rows: string[][]; text: string }[] };
  webvtt: { file: string; timings: string };
  subrip: { timings: string };
  otio: { schemas: string[]; kinds: string[]; item: string[] };
};

const R24 = rate(24);
const R48 = rate(48);
const R25 = rate(25);
const item = (name: string, over: Partial<ProgrammeItem> = {}): ProgrammeItem => ({
  kind: 'film',
  name,
  file: `/media/${name}.mov`,
  rate: R24,
  in: 100,
  out: 148,
  sound: { file: `/media/${name}.mov`, rate: R24, in: 100, out: 148 },
  soundLead: 0,
  soundTail: 0,
  borrowed: null,
  ...over,
});
const programme = (items: ProgrammeItem[], over: Partial<Programme> = {}): Programme => ({
  title: 'Last Tram to Harrow Hill',
  rate: R24,
  widthPx: 640,
  heightPx: 360,
  items,
  music: null,
  ...over,
});

describe('edit decision list (SMPTE ST 258)', () => {
  const column = (line: string, name: string): string => line.slice(...published.edl.columns[name]!);
  const events = (text: string): string[] => text.split('\n').filter((l) => /^\d{3} /.test(l));
  const long = placeItems(
    programme([
      { ...item('card'), kind: 'title', file: null, in: 0, out: 36, sound: null },
      item('platform wide'),
      item('platform tight', { soundLead: 12, soundTail: 5 }),
      item('platform wide', {
        in: 300,
        out: 310,
        sound: { file: '/media/platform wide.mov', rate: R24, in: 300, out: 310 },
      }),
      item('window', { rate: R48, in: 96, out: 144, sound: null }),
    ]),
  );
  const list = events(writeEdl(programme([]), long));

  it('every event stands in its columns, numbered from 001, both sides as long as each other, record unbroken', () => {
    let at = 24 * 3600;
    list.forEach((line, i) => {
      expect(line).toHaveLength(76);
      expect(column(line, 'event')).toBe(String(i + 1).padStart(3, '0'));
      expect(column(line, 'transition')).toBe('C');
      const [si, so, ri, ro] = ['sourceIn', 'sourceOut', 'recordIn', 'recordOut'].map((c) =>
        parseTimecode(column(line, c), R24),
      );
      expect(so! - si!).toBe(ro! - ri!);
      if (column(line, 'channels').trim() !== 'A') {
        expect(ri).toBe(at);
        at = ro!;
      }
    });
    expect(at - 24 * 3600).toBe(36 + 48 + 48 + 10 + 24);
  });

  it('black, both, picture alone, and a sound that leads and lags', () => {
    expect(list.map((l) => [column(l, 'source').trim(), column(l, 'channels').trim()])).toEqual([
      ['BL', 'V'],
      ['PLATFORM', 'B'],
      ['PLATFOR2', 'V'],
      ['PLATFOR2', 'A'],
      ['PLATFORM', 'B'],
      ['WINDOW', 'V'],
    ]);
    // Worked by hand: source 100 − 12 = frame 88 = 3 s 16; record 36 + 48 − 12 = 72 = 3 s, to 132 + 5 = 137 = 5 s 17.
    expect(list[3]).toBe('004  PLATFOR2 A     C        00:00:03:16 00:00:06:09 01:00:03:00 01:00:05:17');
    // 48 frames a second: frame 96 is 2 s, 48 frames are 24 of the programme.
    expect(list[5]).toBe('006  WINDOW   V     C        00:00:02:00 00:00:03:00 01:00:05:22 01:00:06:22');
  });

  it('a lead longer than the sound that is there is cut short, in step; a line break in a name makes no line', () => {
    const placed = placeItems(
      programme([
        item('a'),
        item('b\nTITLE: x', {
          in: 4,
          out: 52,
          sound: { file: '/media/b.mov', rate: R24, in: 4, out: 52 },
          soundLead: 20,
        }),
      ]),
    );
    const text = writeEdl(programme([]), placed);
    expect(events(text)[2]!.slice(29)).toBe('00:00:00:00 00:00:02:04 01:00:01:20 01:00:04:00');
    expect(text.split('\n').filter((l) => l.startsWith('TITLE')).length).toBe(1);
  });

  it('ASC CDL remarks, and no event beyond 999', () => {
    const text = writeEdl(programme([]), placeItems(programme([item('a')])), {
      0: { slope: [1.1, 1, 0.9], offset: [0, 0.01, -0.02], power: [1, 1, 1.2], saturation: 0.85 },
    });
    expect(text).toContain(
      '*ASC_SOP (1.1000 1.0000 0.9000)(0.0000 0.0100 -0.0200)(1.0000 1.0000 1.2000)\n*ASC_SAT 0.8500\n',
    );
    expect(() => writeEdl(programme([]), placeItems(programme(Array.from({ length: 1000 }, () => item('a')))))).toThrow(
      'PW-EDL-LONG',
    );
  });
});

describe('OpenTimelineIO', () => {
  type Node = Record<string, unknown> & { OTIO_SCHEMA: string };
  const p = programme(
    [
      item('one', { soundTail: 10 }),
      item('two', {
        rate: R48,
        in: 200,
        out: 248,
        sound: { file: '/media/s.wav', rate: R25, in: 50, out: 75 },
        soundLead: 12,
      }),
      item('three', { soundLead: 60 }),
      { ...item('card'), kind: 'title', file: null, in: 0, out: 36, sound: null },
    ],
    { music: { file: '/media/tune.wav', gainDb: -9, fromFrame: 24 } },
  );
  const doc = JSON.parse(writeOtio(p, placeItems(p), (f) => `media/${f.split('/').pop()}`)) as Node;
  const seconds = (t: unknown): number => (t as { value: number }).value / (t as { rate: number }).rate;
  const length = (n: Node): number => seconds((n['source_range'] as Node)['duration']);
  const start = (n: Node): number => seconds((n['source_range'] as Node)['start_time']);
  const tracks = (doc['tracks'] as Node)['children'] as Node[];
  const children = (t: Node): Node[] => t['children'] as Node[];
  const beginOf = (t: Node, k: number): number =>
    children(t)
      .slice(0, k)
      .reduce((s, c) => s + length(c), 0);

  it('uses only the schemas of the release, with their fields', () => {
    const seen = new Set<string>();
    const walk = (v: unknown): void => {
      if (Array.isArray(v)) v.forEach(walk);
      else if (typeof v === 'object' && v !== null) {
        const schema = (v as Node).OTIO_SCHEMA;
        if (schema !== undefined) seen.add(schema);
        if (/^(Clip|Gap|Track|Stack)\./.test(schema ?? ''))
          for (const f of published.otio.item) expect(v).toHaveProperty(f);
        if (schema === 'Clip.2')
          expect(
            (v as { media_references: object; active_media_reference_key: string }).media_references,
          ).toHaveProperty((v as { active_media_reference_key: string }).active_media_reference_key);
        if (schema === 'RationalTime.1')
          expect(Number.isFinite((v as { value: number }).value) && (v as { rate: number }).rate > 0).toBe(true);
        Object.values(v).forEach(walk);
      }
    };
    walk(doc);
    expect([...seen].sort()).toEqual(published.otio.schemas);
    expect(doc.OTIO_SCHEMA).toBe('Timeline.1');
    tracks.forEach((t) => expect(published.otio.kinds).toContain(t['kind']));
    expect(tracks.map((t) => t['name'])).toEqual(['V1', 'A1', 'A2', 'Music']);
  });

  it('pictures follow each other without a gap; sound stays in step whatever its rate', () => {
    expect(children(tracks[0]!).map(length)).toEqual([2, 1, 2, 1.5]);
    expect(start(children(tracks[0]!)[1]!)).toBeCloseTo(200 / 48, 12);
    const a = children(tracks[1]!);
    const b = children(tracks[2]!);
    // One: from 0 to 2 s + 10 frames. Three would lead by 60 frames but has 3 s − 58 frames before it: it begins where
    // one ends.
    expect(length(a[0]!)).toBeCloseTo(58 / 24, 12);
    expect(a.map((n) => n.OTIO_SCHEMA)).toEqual(['Clip.2', 'Clip.2']);
    // Picture three begins at 3 s with frame 100 of the source: whatever the lead, source time − record time is the
    // same.
    expect(start(a[1]!) - beginOf(tracks[1]!, 1)).toBeCloseTo(100 / 24 - 3, 12);
    // Two: half a second before its picture (2 s), sound of 25 frames a second: 50 / 25 − 0.5 s.
    expect(b.map((n) => n.OTIO_SCHEMA)).toEqual(['Gap.1', 'Clip.2']);
    expect(beginOf(tracks[2]!, 1)).toBeCloseTo(1.5, 12);
    expect(start(b[1]!)).toBeCloseTo(1.5, 12);
    expect(length(b[1]!)).toBeCloseTo(1.5, 12);
    // Music from 1 s to the end.
    expect(children(tracks[3]!).map(length)).toEqual([1, 5.5]);
  });
});

describe('captions', () => {
  const cues: Caption[] = [
    { in: 0, out: 24, text: 'Mind the gap & <rails>' },
    { in: 36, out: 60, text: 'two\r\n\r\nlines\rthree' },
    { in: 90000, out: 90090, text: 'late' },
  ];
  const r = rate(24000, 1001);
  const times = (line: string, pattern: string): [number, number] => {
    const m = new RegExp(pattern).exec(line);
    expect(m, line).not.toBeNull();
    const ms = (k: number): number =>
      ((Number(m![k]) * 60 + Number(m![k + 1])) * 60 + Number(m![k + 2])) * 1000 + Number(m![k + 3]);
    return [ms(1), ms(5)];
  };
  for (const [name, text, pattern] of [
    ['WebVTT', writeWebVtt(cues, r), published.webvtt.timings],
    ['SubRip', writeSubRip(cues, r), published.subrip.timings],
  ] as const) {
    it(`${name}: grammar, and times to the nearest millisecond`, () => {
      const body = name === 'WebVTT' ? text.replace(new RegExp(published.webvtt.file), '') : text;
      if (name === 'WebVTT') expect(text).toMatch(new RegExp(published.webvtt.file));
      const blocks = body.trimEnd().split('\n\n');
      expect(blocks.length).toBe(3);
      blocks.forEach((b, i) => {
        const lines = b.split('\n');
        expect(lines[0]).toBe(String(i + 1));
        const [a, z] = times(lines[1]!, pattern);
        expect(Math.abs(a - (cues[i]!.in * 1001) / 24)).toBeLessThanOrEqual(0.5);
        expect(Math.abs(z - (cues[i]!.out * 1001) / 24)).toBeLessThanOrEqual(0.5);
      });
      expect(blocks[1]!.split('\n').slice(2)).toEqual(['two', 'lines', 'three']);
      expect(blocks[0]!.split('\n')[2]).toBe(
        name === 'WebVTT' ? 'Mind the gap &amp; &lt;rails&gt;' : 'Mind the gap & <rails>',
      );
    });

    it(`${name}: FFmpeg reads the same cues`, async () => {
      const dir = mkdtempSync(join(tmpdir(), 'pw-cues-'));
      const input = new FormatContext();
      const packet = new Packet();
      try {
        const file = join(dir, name === 'WebVTT' ? 'c.vtt' : 'c.srt');
        writeFileSync(file, text);
        expect(await input.openInput(file, null, null)).toBeGreaterThanOrEqual(0);
        const stream = input.streams[0]!;
        expect(stream.codecpar.codecType).toBe(C.AVMEDIA_TYPE_SUBTITLE);
        packet.alloc();
        const ms = (ticks: bigint): number => (Number(ticks) * 1000 * stream.timeBase.num) / stream.timeBase.den;
        const read: { at: number; for: number; lines: number }[] = [];
        while ((await input.readFrame(packet)) >= 0) {
          read.push({
            at: ms(packet.pts),
            for: ms(packet.duration),
            lines: packet.data!.toString('utf8').trim().split('\n').length,
          });
          packet.unref();
        }
        expect(read.map((c) => c.lines)).toEqual([1, 3, 1]);
        read.forEach((c, i) => {
          expect(Math.abs(c.at - (cues[i]!.in * 1001) / 24)).toBeLessThanOrEqual(0.5);
          expect(Math.abs(c.for - ((cues[i]!.out - cues[i]!.in) * 1001) / 24)).toBeLessThanOrEqual(1);
        });
      } finally {
        packet.free();
        await input.closeInput();
        rmSync(dir, { recursive: true, force: true });
      }
    });
  }

  it('refuses what would break the file', () => {
    expect(() => writeWebVtt([{ in: 5, out: 5, text: 'x' }], R24)).toThrow('PW-CAPTION-TIME');
    expect(() =>
      writeWebVtt(
        [
          { in: 9, out: 12, text: 'x' },
          { in: 2, out: 4, text: 'y' },
        ],
        R24,
      ),
    ).toThrow('PW-CAPTION-ORDER');
    expect(() => writeSubRip([{ in: 5, out: 9, text: 'this --> that' }], R24)).toThrow('PW-CAPTION-TEXT');
  });
});

describe('comma-separated values (RFC 4180)', () => {
  for (const c of published.csv.cases) it(`rule ${c.rule}`, () => expect(writeCsv(c.rows)).toBe(c.text));

  it('a text that a spreadsheet would run is defused; numbers stay numbers', () => {
    expect(writeCsv([['=1+1', '-x', -2.5, null, NaN]])).toBe("'=1+1,'-x,-2.5,,\r\n");
  });

  it('the ledger has as many fields in every line', () => {
    const placed = placeItems(programme([item('a', { borrowed: { film: 'f', in: 0, out: 48 } })]));
    const film = { id: 'f', title: 'A film, "old"', credit: 'c', licence: 'l', frames: 4800, rate: R24 };
    const text = ledgerCsv(makeLedger(placed, R24, [film], {}, []));
    const fields = text
      .trimEnd()
      .split('\r\n')
      .map((l) => l.replace(/"(?:[^"]|"")*"/g, 'q').split(',').length);
    expect(fields).toEqual([13, 13, 13, 13]);
    expect(text).toContain('"A film, ""old"""');
  });
});
