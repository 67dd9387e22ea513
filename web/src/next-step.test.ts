/** What a pick needs next, for every state of its measures, brief, takes and join. */
import { describe, expect, it } from 'vitest';
import type { PickDocument } from '../../src/book/documents.js';
import { nextStep } from './next-step.js';

const pick = (marks: unknown[] = [{ kind: 'stand', ground: [1, 2], top: [1, 1] }]) =>
  ({ id: 'p', marks: { frame: 0, marks } }) as unknown as PickDocument;
const book = (over: Record<string, unknown> = {}) =>
  ({
    takes: [],
    joins: [],
    measures: { p: {} },
    briefs: { p: {} },
    jobs: [],
    ...over,
    stale: { measures: [], briefs: [], verdicts: [], renders: [], takes: [], ...(over['stale'] as object) },
  }) as unknown as Parameters<typeof nextStep>[0];
const take = (verdict?: string) => ({
  id: 't',
  title: 'T',
  pick: 'p',
  kind: 'video',
  ...(verdict === undefined ? {} : { verdict: { verdict } }),
});
const words = (over: Record<string, unknown>, p = pick()) => nextStep(book(over), p)?.words;

describe('what is next with a pick', () => {
  it('goes from marks to the cut, one thing at a time', () => {
    expect(words({}, pick([]))).toMatch(/^mark where/);
    expect(words({ measures: {} })).toBe('measure the plate');
    expect(words({ stale: { measures: ['p'] } })).toMatch(/measure again/);
    expect(words({ briefs: {} })).toBe('write the brief');
    expect(words({})).toMatch(/^shoot by the brief/);
    expect(words({ briefs: {}, takes: [take()] })).toBe('judge T');
    expect(words({ takes: [take('shoot again')] })).toMatch(/^shoot again/);
    expect(words({ takes: [take('shoot again'), take('mendable')] })).toMatch(/^build the join/);
    expect(words({ takes: [take('fits')], joins: [{ id: 'p' }] })).toBe('render the join');
    expect(words({ joins: [{ id: 'p', render: {} }] })).toMatch(/inspect it$/);
    expect(words({ joins: [{ id: 'p', render: {} }], stale: { renders: ['p'] } })).toMatch(/render again$/);
    expect(words({ joins: [{ id: 'p', render: {}, inspection: { passes: false } }] })).toMatch(/^change the step/);
    expect(nextStep(book({ joins: [{ id: 'p', render: {}, inspection: { passes: true } }] }), pick())!.part).toBe(
      'cut',
    );
    // A join that passes does not unsay what was said of its take.
    const passed = { joins: [{ id: 'p', take: 't', render: {}, inspection: { passes: true } }] };
    expect(words({ ...passed, takes: [take('shoot again')] })).toMatch(/into the cut; by its verdict .* shot again$/);
    expect(words({ ...passed, takes: [take('mendable')] })).toBe('the join goes into the cut');
  });

  it('says nothing while work on it goes on, and is not kept by work on another', () => {
    expect(nextStep(book({ takes: [take()], jobs: [{ state: 'running', subject: 't' }] }), pick())).toBeNull();
    const elsewhere = [
      { state: 'running', subject: 'other' },
      { state: 'done', subject: 'p' },
    ];
    expect(words({ jobs: elsewhere })).toMatch(/^shoot by the brief/);
    expect(words({ jobs: elsewhere })).toBe(words({}));
  });
});
