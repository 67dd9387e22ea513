/** A mark is found again by the name that its tool has, and by the word that messages have for it. */
import { expect, it } from 'vitest';
import type { Mark } from '../../../src/plate/marks/marks.js';
import { markName } from './mark-name.js';
import { TOOLS } from './mark-tools.js';

it('calls every mark as the tool that draws it', () => {
  const points: [number, number][] = [
    [1, 1],
    [9, 1],
    [9, 9],
    [1, 9],
  ];
  for (const t of TOOLS) {
    const name = markName(t.make(points, 0, 1));
    expect(name === t.label || name.startsWith(`${t.label} (`)).toBe(true);
  }
});

it('names the word of messages too, where it is another', () => {
  const region: [number, number][] = [
    [1, 1],
    [9, 1],
    [9, 9],
  ];
  const carry: Mark = { kind: 'carry', frame: 0, region };
  expect(markName(carry)).toBe('rides on (carry)');
  expect(markName({ kind: 'horizon', frame: 0, line: [region[0]!, region[1]!] })).toBe('horizon');
  expect(markName({ kind: 'erase', frame: 0, polygon: region, gone: true })).toBe('erase, gone');
});
