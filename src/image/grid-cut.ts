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
/** Distance of a pixel that hangs on no terminal. */
const NOWHERE = 0x7fffffff;
/** Whose tree a pixel is in; 0 is nobody's. */
const SOURCE = 1;
const SINK = 2;
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
  const tree = new TreeSearch(rest, left, off).run();
  const out = new Uint8Array(width * height);
  for (let y = 0, i = 0; y < height; y++)
    for (let x = 0; x < width; x++, i++) out[i] = tree[(y + 1) * w + x + 1] === SOURCE ? 1 : 0;
  return out;
}

/** Pixels in the order in which they came, in a ring with room for each pixel once. */
class Queue {
  private readonly places: Int32Array;
  private readonly last: number;
  private head = 0;
  private tail = 0;

  constructor(pixels: number) {
    this.places = new Int32Array(pixels + 1);
    this.last = pixels;
  }

  get empty(): boolean {
    return this.head === this.tail;
  }

  get first(): number {
    return this.places[this.head]!;
  }

  push(pixel: number): void {
    this.places[this.tail] = pixel;
    this.tail = this.tail === this.last ? 0 : this.tail + 1;
  }

  drop(): void {
    this.head = this.head === this.last ? 0 : this.head + 1;
  }
}

/** The two trees and what the edges still carry. Neighbours are told by their direction, 0..7. */
class TreeSearch {
  /** What the edge of pixel i in direction d still carries, at 8 i + d. */
  private readonly rest: Int32Array;
  /** What the edge to the terminal still carries: from the source above 0, to the sink below. */
  private readonly left: Int32Array;
  /** Step in the arrays to the neighbour of each direction. */
  private readonly off: Int32Array;
  private readonly tree: Uint8Array;
  /** Direction to the parent, TERMINAL or ORPHAN. */
  private readonly parent: Uint8Array;
  /** Steps to the terminal as far as known, and in which round that was learnt. */
  private readonly far: Int32Array;
  private readonly time: Int32Array;
  private now = 0;
  /** Pixels from which the trees may grow; `waits` is 1 where a pixel is among them. */
  private readonly active: Queue;
  private readonly waits: Uint8Array;
  /** Pixels whose edge to the parent is full. */
  private readonly loose: Queue;
  /** Where the trees met last: the source's pixel, and the direction from it to the sink's. */
  private meeting = -1;
  private along = 0;

  constructor(rest: Int32Array, left: Int32Array, off: Int32Array) {
    const n = left.length;
    this.rest = rest;
    this.left = left;
    this.off = off;
    this.tree = new Uint8Array(n);
    this.parent = new Uint8Array(n);
    this.far = new Int32Array(n);
    this.time = new Int32Array(n);
    this.active = new Queue(n);
    this.waits = new Uint8Array(n);
    this.loose = new Queue(n);
    for (let i = 0; i < n; i++)
      if (left[i] !== 0) {
        this.tree[i] = left[i]! > 0 ? SOURCE : SINK;
        this.parent[i] = TERMINAL;
        this.far[i] = 1;
        this.wake(i);
      }
  }

  /** The trees at the end: SOURCE what the source still reaches, SINK what reaches the sink, 0 neither. */
  run(): Uint8Array {
    while (!this.active.empty) {
      const i = this.active.first;
      if (this.tree[i] === 0 || !this.grow(i)) {
        this.waits[i] = 0;
        this.active.drop();
        continue;
      }
      this.now++;
      this.fill();
      for (; !this.loose.empty; this.loose.drop()) this.adopt(this.loose.first);
    }
    return this.tree;
  }

  private wake(i: number): void {
    if (this.waits[i] === 1) return;
    this.waits[i] = 1;
    this.active.push(i);
  }

  private setLoose(i: number): void {
    this.parent[i] = ORPHAN;
    this.loose.push(i);
  }

  /** Takes free neighbours of i into its tree; true where the trees meet, told by `meeting` and `along`. */
  private grow(i: number): boolean {
    const { rest, off, tree, parent, time, far } = this;
    const side = tree[i]!;
    for (let d = 0; d < 8; d++) {
      const j = i + off[d]!;
      if ((side === SOURCE ? rest[8 * i + d]! : rest[8 * j + 7 - d]!) <= 0) continue;
      if (tree[j] === 0) {
        tree[j] = side;
        parent[j] = 7 - d;
        time[j] = time[i]!;
        far[j] = far[i]! + 1;
        this.wake(j);
      } else if (tree[j] !== side) {
        this.meeting = side === SOURCE ? i : j;
        this.along = side === SOURCE ? d : 7 - d;
        return true;
      } else if (time[j]! <= time[i]! && far[j]! > far[i]! && parent[j] !== TERMINAL) {
        // A shorter way to the terminal.
        parent[j] = 7 - d;
        time[j] = time[i]!;
        far[j] = far[i]! + 1;
      }
    }
    return false;
  }

  /** The most that the path through the meeting place can carry. */
  private pathRoom(): number {
    const { rest, left, off, parent, meeting, along } = this;
    let most = rest[8 * meeting + along]!;
    let a = meeting;
    let b = meeting + off[along]!;
    for (; parent[a] !== TERMINAL; a += off[parent[a]!]!)
      most = Math.min(most, rest[8 * (a + off[parent[a]!]!) + 7 - parent[a]!]!);
    most = Math.min(most, left[a]!);
    for (; parent[b] !== TERMINAL; b += off[parent[b]!]!) most = Math.min(most, rest[8 * b + parent[b]!]!);
    return Math.min(most, -left[b]!);
  }

  /** Fills the path from source to sink; the pixels behind edges that are then full hang loose. */
  private fill(): void {
    const { rest, left, off, parent, meeting, along } = this;
    const most = this.pathRoom();
    let a = meeting;
    let b = meeting + off[along]!;
    rest[8 * a + along] = rest[8 * a + along]! - most;
    rest[8 * b + 7 - along] = rest[8 * b + 7 - along]! + most;
    while (parent[a] !== TERMINAL) {
      const d = parent[a]!;
      const p = a + off[d]!;
      const e = 8 * p + 7 - d;
      rest[8 * a + d] = rest[8 * a + d]! + most;
      if ((rest[e] = rest[e]! - most) === 0) this.setLoose(a);
      a = p;
    }
    if ((left[a] = left[a]! - most) === 0) this.setLoose(a);
    while (parent[b] !== TERMINAL) {
      const d = parent[b]!;
      const p = b + off[d]!;
      const e = 8 * b + d;
      rest[8 * p + 7 - d] = rest[8 * p + 7 - d]! + most;
      if ((rest[e] = rest[e]! - most) === 0) this.setLoose(b);
      b = p;
    }
    if ((left[b] = left[b]! + most) === 0) this.setLoose(b);
  }

  /** A loose pixel finds the neighbour of its tree that is nearest to the terminal, or leaves the tree. */
  private adopt(i: number): void {
    const { rest, off, tree } = this;
    const own = tree[i]!;
    let best = -1;
    let least = NOWHERE;
    for (let d = 0; d < 8; d++) {
      const j = i + off[d]!;
      if ((own === SOURCE ? rest[8 * j + 7 - d]! : rest[8 * i + d]!) <= 0 || tree[j] !== own) continue;
      const steps = this.stepsToTerminal(j);
      if (steps < least) {
        best = d;
        least = steps;
      }
    }
    if (best < 0) {
      this.leave(i);
      return;
    }
    this.parent[i] = best;
    this.time[i] = this.now;
    this.far[i] = least + 1;
  }

  /** Steps from j to its terminal, or NOWHERE; what is learnt of the pixels on the way is kept for this round. */
  private stepsToTerminal(j: number): number {
    const { off, parent, time, far, now } = this;
    let steps = 0;
    for (let k = j; ; k += off[parent[k]!]!) {
      if (time[k] === now) {
        steps += far[k]!;
        break;
      }
      steps++;
      if (parent[k] === TERMINAL) {
        time[k] = now;
        far[k] = 1;
        break;
      }
      if (parent[k] === ORPHAN) return NOWHERE;
    }
    for (let k = j, s = steps; time[k] !== now; k += off[parent[k]!]!) {
      time[k] = now;
      far[k] = s--;
    }
    return steps;
  }

  /** Takes i out of its tree: its children hang loose, and neighbours that could reach it may grow again. */
  private leave(i: number): void {
    const { rest, off, tree, parent } = this;
    const own = tree[i]!;
    for (let d = 0; d < 8; d++) {
      const j = i + off[d]!;
      if (tree[j] !== own) continue;
      if ((own === SOURCE ? rest[8 * j + 7 - d]! : rest[8 * i + d]!) > 0) this.wake(j);
      const p = parent[j]!;
      if (p < TERMINAL && j + off[p]! === i) this.setLoose(j);
    }
    tree[i] = 0;
  }
}
