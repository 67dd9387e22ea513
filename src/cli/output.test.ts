/** Tables on the command line keep within the window; quoted words are held against what the shell itself reads. */
import { describe, expect, it } from 'vitest';
import { execFileSync } from 'node:child_process';
import { jobName, shellWord, table, timeLeftInWords } from './output.js';

describe('a table on the command line', () => {
  const reasons =
    '3.0 s of picture (+4 min); the camera moves slowly: the performer must ride along (+20 min); ' +
    'hardly anything moves by itself';
  const rows = [
    ['shot', 'in', 'entry', 'effort', 'takes'],
    ['0', '0', 'start', '44 min', reasons],
    ['1', '1073', 'cut', '8 min', 'short'],
  ];

  it('keeps within the window and loses no word of a long last column', () => {
    const lines = table(rows, 80).split('\n');
    for (const l of lines) expect(l.length).toBeLessThanOrEqual(80);
    expect(lines.join(' ').replace(/\s+/g, ' ')).toContain(reasons);
    // Words begin under their heading, on every line that they take.
    const at = lines[0]!.indexOf('takes');
    expect(lines[1]!.slice(at)).toMatch(/^3\.0 s of picture/);
    for (const l of lines.slice(2, -1)) expect(l.search(/\S/)).toBe(at);
    expect(lines.at(-1)!.slice(at)).toBe('short');
  });

  it('puts long words below their row where the columns before leave no room', () => {
    const lines = table(
      [
        ['a'.repeat(30), 'b'.repeat(30), reasons],
        ['c', 'd', ''],
      ],
      80,
    ).split('\n');
    for (const l of lines) expect(l.length).toBeLessThanOrEqual(80);
    expect(lines.join(' ').replace(/\s+/g, ' ')).toContain(reasons);
    expect(lines[1]).toMatch(/^ {6}\S/);
  });

  it('sets numbers to the right and words to the left', () => {
    const lines = table(rows, 200).split('\n');
    const end = lines[2]!.indexOf('1073') + 4;
    expect(lines[1]![end - 1]).toBe('0');
    expect(lines[0]!.slice(0, end).endsWith('in')).toBe(true);
    expect(lines[2]!.indexOf('cut')).toBe(lines[1]!.indexOf('start'));
    expect(lines[1]!.indexOf('44 min') + 6).toBe(lines[2]!.indexOf('8 min') + 5);
  });
});

describe('what a command prints to be copied', () => {
  it('quotes a path that a shell would split, and leaves others as they are', () => {
    expect(shellWord('/home/me/short')).toBe('/home/me/short');
    expect(shellWord('Kürzestfilme/駱駝')).toBe('Kürzestfilme/駱駝');
    for (const word of ['My short – 駱駝', "Anna's film", 'a$b', 'a;b', '', '(1)']) {
      // What a POSIX shell makes of it is the word itself.
      expect(execFileSync('/bin/sh', ['-c', `printf %s ${shellWord(word)}`], { encoding: 'utf8' })).toBe(word);
    }
  });

  it('names a job that has no subject without a gap', () => {
    expect([jobName('deliver', ''), jobName('join', 'roof')]).toEqual(['deliver', 'join roof']);
  });
});

describe('how long work will take', () => {
  it('is told of long work alone, from what is done of it', () => {
    expect(timeLeftInWords(60, 0.25)).toBe(', about 3 min left');
    expect(timeLeftInWords(30, 0.5)).toBe(', about 1 min left');
    expect(timeLeftInWords(25, 0.5)).toBe(', under a minute left');
    // Begun lately, soon over, not begun, done.
    for (const [spent, share] of [
      [5, 0.01],
      [200, 0.95],
      [60, 0],
      [60, 1],
    ] as const)
      expect(timeLeftInWords(spent, share)).toBe('');
  });
});
