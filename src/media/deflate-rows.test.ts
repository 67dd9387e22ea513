/** Deflated rows read back with zlib: bytes and check sum (RFC 1950, 1951), whatever they hold. */
import { inflateSync } from 'node:zlib';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { kernels } from '../image/kernels.js';

interface Rows {
  readonly n: number;
  readonly rows: number;
  readonly lead: number;
  readonly tail: number;
  readonly before: number;
  readonly after: number;
}

function deflated(src: Uint8Array, { n, rows, lead, tail, before, after }: Rows): Uint8Array {
  const door = kernels();
  const scope = door.scope();
  try {
    const out = scope.allocate(2 * (n + lead + tail + 8) * rows + before + after + 70_000);
    const total = scope.allocate(16);
    door.run('deflateRows', [scope.input(src), n, n, rows, lead, tail, before, after, out, total], 1, 1, 160 << 10);
    return Uint8Array.from(new Uint8Array(door.memory.buffer, out, new Uint32Array(door.memory.buffer, total, 1)[0]));
  } finally {
    scope.close();
  }
}

/** What the stream stands for. */
function plain(src: Uint8Array, { n, rows, lead, tail, before, after }: Rows): Buffer {
  const line = 1 + lead + n + tail;
  const out = Buffer.alloc(before + rows * line + after);
  for (let y = 0; y < rows; y++) {
    out[before + y * line] = 1;
    out.set(src.subarray(y * n, (y + 1) * n), before + y * line + 1 + lead);
  }
  return out;
}

/**
 * Kinds of content: noise, mostly nothing, one value, and values so unequal in number that a free code would be deeper
 * than 15.
 */
const KINDS = ['noise', 'sparse', 'flat', 'steep', 'zero', 'full'] as const;
function content(kind: (typeof KINDS)[number], size: number, seed: number): Uint8Array {
  const r = new RandomStream(seed);
  if (kind === 'steep') {
    // Fibonacci numbers of each value.
    const out = new Uint8Array(size);
    let a = 1;
    let b = 1;
    let at = 0;
    for (let v = 1; at < size; v = 1 + (v % 255)) {
      out.fill(v, at, at + a);
      at += a;
      [a, b] = [b, a + b];
      if (a > size) [a, b] = [1, 1];
    }
    return out;
  }
  return Uint8Array.from({ length: size }, () =>
    kind === 'noise'
      ? r.below(256)
      : kind === 'sparse'
        ? r.uniform() < 0.15
          ? r.below(256)
          : 0
        : kind === 'flat'
          ? 7
          : kind === 'full'
            ? 1 + r.below(255)
            : 0,
  );
}

describe('rows deflated', () => {
  it('reads back with zlib', () => {
    const form = fc.record({
      n: fc.integer({ min: 0, max: 700 }),
      rows: fc.integer({ min: 0, max: 40 }),
      lead: fc.integer({ min: 0, max: 600 }),
      tail: fc.integer({ min: 0, max: 600 }),
      before: fc.integer({ min: 0, max: 5000 }),
      after: fc.integer({ min: 0, max: 5000 }),
    });
    fc.assert(
      fc.property(form, fc.constantFrom(...KINDS), fc.integer({ min: 1, max: 1e6 }), (rows, kind, seed) => {
        const src = content(kind, rows.n * rows.rows, seed);
        expect(Buffer.compare(inflateSync(deflated(src, rows)), plain(src, rows))).toBe(0);
      }),
      { numRuns: 200, seed: 11, endOnFailure: true },
    );
  });

  it('over many blocks, with codes held to 15 bits, and with hardly a bit more than the content has', () => {
    for (const kind of KINDS) {
      const rows = { n: 5000, rows: 80, lead: 30, tail: 6000, before: 3_000_000, after: 17 };
      const src = content(kind, rows.n * rows.rows, 3);
      const out = deflated(src, rows);
      expect(Buffer.compare(inflateSync(out), plain(src, rows)), kind).toBe(0);
      // A run of 258 zeros in three bits and more, noise byte for byte.
      expect(out.length).toBeLessThan(
        1.01 * (kind === 'zero' ? 0 : kind === 'sparse' ? 0.35 : 1) * src.length +
          (3 * (3_000_000 + 80 * 6030 + (kind === 'zero' ? src.length : 0))) / 258 / 4 +
          3000,
      );
    }
  });
});
