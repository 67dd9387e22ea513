/** Orders of questions, answers and news written by hand: which of them may be shown. */
import { expect, it } from 'vitest';
import { Newest } from './newest.js';

it('shows no older answer after a newer one', () => {
  const n = new Newest();
  const first = n.ask();
  const second = n.ask();
  expect(n.takes(second)).toBe(true);
  expect(n.takes(first)).toBe(false);
  expect(n.takes(n.ask())).toBe(true);
});

it('shows no answer to what was asked before it was told better: a job that failed meanwhile stays failed', () => {
  const n = new Newest();
  const before = n.ask();
  n.told();
  const after = n.ask();
  expect(n.takes(before)).toBe(false);
  expect(n.takes(after)).toBe(true);
});
