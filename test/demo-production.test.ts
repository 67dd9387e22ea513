/**
 * The demo's own files: its list against what is there, its film without gaps, its marks readable, and each planted
 * fault alone by the truth beside each take.
 */
import { existsSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { checkMarks } from '../src/plate/marks/check-marks.js';
import { parseMarks, type MarksFile } from '../src/plate/marks/marks.js';

const demo = join(dirname(fileURLToPath(import.meta.url)), '..', 'demo');
const read = (path: string): string => readFileSync(join(demo, path), 'utf8');

interface Production {
  readonly film: { readonly file: string; readonly truth: string };
  readonly music: { readonly file: string };
  readonly picks: readonly {
    readonly id: string;
    readonly in: number;
    readonly out: number;
    readonly marks: string;
    readonly truth: string;
  }[];
  readonly takes: readonly {
    readonly id: string;
    readonly file: string;
    readonly pick: string;
    readonly marks: string | null;
    readonly truth: string | null;
    readonly fault: string;
    readonly expected: { readonly verdict: string; readonly matter: string | null };
  }[];
}
interface TakeTruth {
  readonly frames: number;
  readonly fault: string;
  readonly yaw?: readonly number[];
  readonly against?: {
    readonly viewElevationOffDeg: number;
    readonly sunAzimuthOffDeg: number;
    readonly sunElevationOffDeg: number;
  } | null;
  readonly screen?: { readonly folds: number };
  readonly softnessSigmaPx?: number;
}

const production = JSON.parse(read('production.json')) as Production;
const marksOf = (path: string): MarksFile => parseMarks(read(path), path);

describe('the demo production', () => {
  it('has every file that its list names', () => {
    const files = [
      production.film.file,
      production.film.truth,
      production.music.file,
      ...production.picks.flatMap((p) => [p.marks, p.truth]),
      ...production.takes.flatMap((t) => [t.file, t.marks, t.truth]),
    ];
    expect(files.filter((f) => f !== null && !existsSync(join(demo, f)))).toEqual([]);
  });

  it('has a film whose shots follow each other without a gap, with one fade and one dissolve', () => {
    const { cuts } = JSON.parse(read(production.film.truth)) as {
      cuts: { frames: number; shots: { in: number; out: number; entry: string; over?: [number, number] }[] };
    };
    expect(cuts.shots[0]?.in).toBe(0);
    cuts.shots.forEach((s, i) => expect(s.out).toBe(cuts.shots[i + 1]?.in ?? cuts.frames));
    expect(cuts.shots.map((s) => s.entry).filter((e) => e !== 'cut')).toEqual(['start', 'fade', 'dissolve']);
    for (const s of cuts.shots) if (s.over) expect(s.in).toBeGreaterThanOrEqual(s.over[0]);
  });

  it('has marks that the program reads, on frames and places that exist', () => {
    for (const p of production.picks)
      expect(() => checkMarks(marksOf(p.marks), 854, 480, p.out - p.in, p.marks)).not.toThrow();
    for (const t of production.takes) {
      if (t.marks === null || t.truth === null) continue;
      const { frames } = JSON.parse(read(t.truth)) as TakeTruth;
      expect(() => checkMarks(marksOf(t.marks ?? ''), 854, 480, frames, t.marks ?? '')).not.toThrow();
    }
  });

  it('plants each fault alone: what is not the fault stays within the default tolerances for a take that fits', () => {
    for (const t of production.takes) {
      if (t.truth === null || t.id === 'hand-1') continue;
      const truth = JSON.parse(read(t.truth)) as TakeTruth;
      const a = truth.against;
      if (!a) throw new Error(`${t.id} says nothing of its view and light`);
      const wrong = {
        light: Math.abs(a.sunAzimuthOffDeg) > 15 || Math.abs(a.sunElevationOffDeg) > 10,
        view: Math.abs(a.viewElevationOffDeg) > 4,
        screen: (truth.screen?.folds ?? 0) > 0.5,
        focus: (truth.softnessSigmaPx ?? 0) > 1.5,
      };
      expect(wrong, t.id).toEqual({
        light: t.fault.includes('light'),
        view: t.fault.includes('steep'),
        screen: t.fault.includes('screen'),
        focus: t.fault.includes('focus'),
      });
      expect(t.expected.matter === null, t.id).toBe(t.fault === 'none');
    }
  });
});
