/**
 * Least cut of a grid whose pixels hang together with their eight neighbours: Y. Boykov & V. Kolmogorov,
 * "An experimental comparison of min-cut/max-flow algorithms for energy minimization in vision", IEEE PAMI
 * 26(9), 2004. Two search trees grow from the terminals, meet, are cut where an edge is full, and what
 * hangs loose is taken up again (with times and distances to the terminal, so that a loose pixel finds its
 * tree soon). Whole numbers, so the answer is exact.
 */

/** Steps to the eight neighbours; the opposite of d is 7 - d. */
const DX = [1, 1, 0, -1, 1, 0, -1, -1] as const;
const DY = [0, 1, 1, 1, -1, -1, -1, 0] as const;
/** Parents that are no neighbour. */
const TERMINAL = 8;
const ORPHAN = 9;
/** Whole units that one of cost is counted in, and the most that a pixel may cost. */
const UNITS = 1000;
const MOST = 1e5;

/**
 * Labels of least cost: a pixel pays `terminal` where it is labelled 0 though that is positive, and its amount where it
 * is labelled 1 though it is negative; two neighbours with different labels pay the edge between them.
 * @param terminal w x h @param edges four planes w x h, at least 0: of each pixel to its
 * right, lower right, lower and lower left neighbour
 * @returns w x h of 0 and 1
 */
export function gridCut(
  terminal: Float32Array,
  edges: readonly [Float32Array, Float32Array, Float32Array, Float32Array],
  width: number,
  height: number,
): Uint8Array {
  // A border of pixels without edges spares the search all questions of place.
  const w = width + 2;
  const n = w * (height + 2);
  const off = Int32Array.from(DX, (dx, d) => dx + DY[d]! * w);
  const rest = new Int32Array(8 * n);
  const left = new Int32Array(n);
  for (let y = 0, i = 0; y < height; y++)
    for (let x = 0; x < width; x++, i++) {
      const p = (y + 1) * w + x + 1;
      left[p] = Math.round(UNITS * Math.max(-MOST, Math.min(MOST, terminal[i]!)));
      for (let d = 0; d < 4; d++) {
        const u = x + DX[d]!;
        const v = y + DY[d]!;
        if (u < 0 || u >= width || v >= height) continue;
        const k = Math.round(UNITS * edges[d]![i]!);
        const q = p + off[d]!;
        rest[8 * p + d] = k;
        rest[8 * q + 7 - d] = k;
      }
    }
  const tree = cut(rest, left, off, n);
  const out = new Uint8Array(width * height);
  for (let y = 0, i = 0; y < height; y++)
    for (let x = 0; x < width; x++, i++) out[i] = tree[(y + 1) * w + x + 1] === 1 ? 1 : 0;
  return out;
}

/** The trees at the end: 1 what the source still reaches, 2 what reaches the sink, 0 neither. */
function cut(rest: Int32Array, left: Int32Array, off: Int32Array, n: number): Uint8Array {
  const tree = new Uint8Array(n);
  const parent = new Uint8Array(n);
  const time = new Int32Array(n);
  const far = new Int32Array(n);
  // Active pixels: a ring in which each stands at most once.
  const ring = new Int32Array(n + 1);
  const waits = new Uint8Array(n);
  let head = 0;
  let tail = 0;
  const wake = (i: number): void => {
    if (waits[i] === 1) return;
    waits[i] = 1;
    ring[tail] = i;
    tail = tail === n ? 0 : tail + 1;
  };
  const loose = new Int32Array(n + 1);
  let looseHead = 0;
  let looseTail = 0;
  let now = 0;
  const setLoose = (i: number): void => {
    parent[i] = ORPHAN;
    loose[looseTail] = i;
    looseTail = looseTail === n ? 0 : looseTail + 1;
  };
  for (let i = 0; i < n; i++)
    if (left[i] !== 0) {
      tree[i] = left[i]! > 0 ? 1 : 2;
      parent[i] = TERMINAL;
      far[i] = 1;
      wake(i);
    }

  while (head !== tail) {
    const i = ring[head]!;
    if (tree[i] === 0) {
      waits[i] = 0;
      head = head === n ? 0 : head + 1;
      continue;
    }
    // Grow until the trees meet: from u over its edge `along` to the sink's tree.
    const side = tree[i]!;
    let u = -1;
    let along = 0;
    for (let d = 0; d < 8; d++) {
      const j = i + off[d]!;
      if ((side === 1 ? rest[8 * i + d]! : rest[8 * j + 7 - d]!) <= 0) continue;
      if (tree[j] === 0) {
        tree[j] = side;
        parent[j] = 7 - d;
        time[j] = time[i]!;
        far[j] = far[i]! + 1;
        wake(j);
      } else if (tree[j] !== side) {
        if (side === 1) {
          u = i;
          along = d;
        } else {
          u = j;
          along = 7 - d;
        }
        break;
      } else if (time[j]! <= time[i]! && far[j]! > far[i]! && parent[j] !== TERMINAL) {
        parent[j] = 7 - d;
        time[j] = time[i]!;
        far[j] = far[i]! + 1;
      }
    }
    if (u < 0) {
      waits[i] = 0;
      head = head === n ? 0 : head + 1;
      continue;
    }
    now++;
    // The least that the path can carry, and then that much along it.
    let most = rest[8 * u + along]!;
    let a = u;
    let b = u + off[along]!;
    for (; parent[a] !== TERMINAL; a += off[parent[a]!]!)
      most = Math.min(most, rest[8 * (a + off[parent[a]!]!) + 7 - parent[a]!]!);
    most = Math.min(most, left[a]!);
    for (; parent[b] !== TERMINAL; b += off[parent[b]!]!) most = Math.min(most, rest[8 * b + parent[b]!]!);
    most = Math.min(most, -left[b]!);
    a = u;
    b = u + off[along]!;
    rest[8 * u + along] = rest[8 * u + along]! - most;
    rest[8 * b + 7 - along] = rest[8 * b + 7 - along]! + most;
    while (parent[a] !== TERMINAL) {
      const d = parent[a]!;
      const p = a + off[d]!;
      const e = 8 * p + 7 - d;
      rest[8 * a + d] = rest[8 * a + d]! + most;
      if ((rest[e] = rest[e]! - most) === 0) setLoose(a);
      a = p;
    }
    if ((left[a] = left[a]! - most) === 0) setLoose(a);
    while (parent[b] !== TERMINAL) {
      const d = parent[b]!;
      const p = b + off[d]!;
      const e = 8 * b + d;
      rest[8 * p + 7 - d] = rest[8 * p + 7 - d]! + most;
      if ((rest[e] = rest[e]! - most) === 0) setLoose(b);
      b = p;
    }
    if ((left[b] = left[b]! + most) === 0) setLoose(b);

    // What hangs loose finds another parent of its tree, or leaves it.
    while (looseHead !== looseTail) {
      const o = loose[looseHead]!;
      looseHead = looseHead === n ? 0 : looseHead + 1;
      const own = tree[o]!;
      let best = -1;
      let least = 0x7fffffff;
      for (let d = 0; d < 8; d++) {
        const j = o + off[d]!;
        if ((own === 1 ? rest[8 * j + 7 - d]! : rest[8 * o + d]!) <= 0 || tree[j] !== own) continue;
        // Does j hang on the terminal?
        let k = j;
        let steps = 0;
        for (;;) {
          if (time[k] === now) {
            steps += far[k]!;
            break;
          }
          const p = parent[k]!;
          steps++;
          if (p === TERMINAL) {
            time[k] = now;
            far[k] = 1;
            break;
          }
          if (p === ORPHAN) {
            steps = 0x7fffffff;
            break;
          }
          k += off[p]!;
        }
        if (steps === 0x7fffffff) continue;
        if (steps < least) {
          best = d;
          least = steps;
        }
        for (k = j; time[k] !== now; k += off[parent[k]!]!) {
          time[k] = now;
          far[k] = steps--;
        }
      }
      if (best >= 0) {
        parent[o] = best;
        time[o] = now;
        far[o] = least + 1;
        continue;
      }
      for (let d = 0; d < 8; d++) {
        const j = o + off[d]!;
        if (tree[j] !== own) continue;
        if ((own === 1 ? rest[8 * j + 7 - d]! : rest[8 * o + d]!) > 0) wake(j);
        const p = parent[j]!;
        if (p < TERMINAL && j + off[p]! === o) setLoose(j);
      }
      tree[o] = 0;
    }
  }
  return tree;
}
