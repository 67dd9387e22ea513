/**
 * The bundled typefaces asked for names in several scripts: the letters they lack, and runs that give their line back.
 */
import { describe, expect, it } from 'vitest';
import { loadTypeface, missingLetters, runsOf } from './typefaces.js';

const face = loadTypeface('vollkorn', 400);
const script = (k: number | null): string => (k === null ? 'none' : /vollkorn-(.*)-400/.exec(face.files[k]!)![1]!);

describe('bundled typefaces', () => {
  it('have the letters of Latin, Cyrillic, Greek and Vietnamese names, and say which they lack', () => {
    for (const name of ['Clementine', 'Łódź', 'Čapek', 'Двор и подъезд', 'Їжак', 'Ελένη', 'Nguyễn Thị'])
      expect(missingLetters(name, face), name).toBe('');
    expect(missingLetters('兎の散歩: 兎', face)).toBe('兎の散歩');
    expect(missingLetters('مع', face)).toBe('مع');
  });
  it('split a line into runs that give it back, blanks staying with the words before them', () => {
    const text = 'Tram до Harrow — 兎';
    const runs = runsOf(text, face);
    expect(runs.map((r) => r.text).join('')).toBe(text);
    expect(runs.map((r) => script(r.font))).toEqual(['latin', 'cyrillic', 'latin', 'none']);
    expect(runsOf('', face)).toEqual([]);
    // An accent that was typed apart is one letter with what it stands on.
    expect(runsOf('e\u0301', face)).toEqual(runsOf('é', face));
  });
});
