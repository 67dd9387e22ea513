/**
 * Flash safety: general and red flashes after ITU-R BT.1702-3 and the WCAG 2.x definition of three flashes (equal
 * limits at a 200 cd/m² white). A transition is a change of relative luminance of at least 0.1 from the last
 * extreme, the darker state below 0.80; a red one goes to or from saturated red (linear R/(R+G+B) ≥ 0.8) with a u'v'
 * difference above 0.2 (red to black has no chromaticity: counted, the safe choice). Transitions count where at
 * least a quarter of the screen makes them within three frames. Two opposing transitions are a flash; more than
 * three flashes in any sliding second (half-open) fail. The stricter reading, a quarter of any 10° field (341 × 256
 * of a 1024 × 768 screen), is reported beside it.
 */
import { plane, type Picture } from '../image/picture.js';

const COLUMNS = 64;
const ROWS = 36;
const FIELD_COLUMNS = Math.round((COLUMNS * 341) / 1024);
const FIELD_ROWS = Math.round((ROWS * 256) / 768);
/** Frames over which parts of the screen still belong to one transition. */
const TOGETHER = 3;
const QUARTER = 0.25;

/** One change of the picture that may be half of a flash. */
export interface FlashTransition {
  readonly frame: number;
  readonly kind: 'general' | 'red';
  readonly direction: 'up' | 'down';
  /** Largest share of the screen, and of any 10-degree field. */
  readonly screenShare: number;
  readonly fieldShare: number;
}

/** Whether a programme flashes more than is allowed, and where. */
export interface FlashReport {
  readonly frames: number;
  /** Complete flashes (pairs of opposing transitions), over a quarter of the screen. */
  readonly flashes: readonly {
    readonly kind: 'general' | 'red';
    readonly from: number;
    readonly to: number;
    readonly screenShare: number;
  }[];
  readonly worst: {
    readonly general: { readonly flashes: number; readonly fromFrame: number };
    readonly red: { readonly flashes: number; readonly fromFrame: number };
  };
  /** ITU-R BT.1702: at most three flashes in any second over more than a quarter of the screen. */
  readonly passes: boolean;
  /** The same with a quarter of any 10-degree field. */
  readonly passesField: boolean;
  /** Flashing longer than five seconds may be a risk even within the limits. */
  readonly longSequence: boolean;
}

const LUT = Float32Array.from({ length: 1025 }, (_, i) => {
  const v = i / 1024;
  return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
});
const linear = (v: number): number => LUT[v <= 0 ? 0 : v >= 1 ? 1024 : (v * 1024 + 0.5) | 0]!;

/** Relative luminance of linear Rec. 709 RGB (WCAG). */
export function relativeLuminance(r: number, g: number, b: number): number {
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

/** CIE 1976 u', v'; null for black. */
function uvPrime(r: number, g: number, b: number): readonly [number, number] | null {
  const x = 0.4124 * r + 0.3576 * g + 0.1805 * b;
  const y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
  const z = 0.0193 * r + 0.1192 * g + 0.9505 * b;
  const d = x + 15 * y + 3 * z;
  return d < 1e-4 ? null : [(4 * x) / d, (9 * y) / d];
}

/** Whether going between two relative luminances is a general transition. */
export function isGeneralTransition(a: number, b: number): boolean {
  return Math.abs(a - b) >= 0.1 && Math.min(a, b) < 0.8;
}

type Rgb = readonly [number, number, number];
const isSaturatedRed = (c: Rgb): boolean => c[0] >= 0.8 * (c[0] + c[1] + c[2]) && c[0] > 0.02;

/** Whether going between two linear colours is a red transition. */
export function isRedTransition(a: Rgb, b: Rgb): boolean {
  if (!isSaturatedRed(a) && !isSaturatedRed(b)) return false;
  const ua = uvPrime(...a);
  const ub = uvPrime(...b);
  if (ua === null || ub === null) return true;
  return Math.hypot(ua[0] - ub[0], ua[1] - ub[1]) > 0.2;
}

/** Give it every frame in order by `add` (display-coded R'G'B', one size), then ask for the `report`. */
export class FlashDetector {
  private readonly framesPerSecond: number;
  private frame = 0;
  private readonly cells = COLUMNS * ROWS;
  private readonly low = new Float32Array(COLUMNS * ROWS);
  private readonly high = new Float32Array(COLUMNS * ROWS);
  /** 0 unknown, 1 last went up, -1 last went down. */
  private readonly direction = new Int8Array(COLUMNS * ROWS);
  private readonly lastRgb = new Float32Array(COLUMNS * ROWS * 3);
  private readonly redState = new Int8Array(COLUMNS * ROWS);
  private readonly stamps: Record<'general' | 'red', Record<'up' | 'down', Int32Array>> = {
    general: { up: new Int32Array(COLUMNS * ROWS).fill(-9), down: new Int32Array(COLUMNS * ROWS).fill(-9) },
    red: { up: new Int32Array(COLUMNS * ROWS).fill(-9), down: new Int32Array(COLUMNS * ROWS).fill(-9) },
  };
  readonly transitions: FlashTransition[] = [];
  private readonly fieldTransitions: FlashTransition[] = [];

  constructor(framesPerSecond: number) {
    this.framesPerSecond = framesPerSecond;
  }

  /** Adds one display-coded picture (R'G'B' 0..1), at least three channels or one. */
  add(coded: Picture): void {
    const { width, height } = coded;
    const r = plane(coded, 0);
    const g = plane(coded, coded.channels >= 3 ? 1 : 0);
    const b = plane(coded, coded.channels >= 3 ? 2 : 0);
    const stepX = Math.max(1, Math.floor(width / COLUMNS / 6));
    const stepY = Math.max(1, Math.floor(height / ROWS / 6));
    for (let cy = 0; cy < ROWS; cy++) {
      const y0 = Math.floor((cy * height) / ROWS);
      const y1 = Math.max(y0 + 1, Math.floor(((cy + 1) * height) / ROWS));
      for (let cx = 0; cx < COLUMNS; cx++) {
        const x0 = Math.floor((cx * width) / COLUMNS);
        const x1 = Math.max(x0 + 1, Math.floor(((cx + 1) * width) / COLUMNS));
        let sr = 0;
        let sg = 0;
        let sb = 0;
        let n = 0;
        for (let y = y0; y < y1 && y < height; y += stepY)
          for (let x = x0; x < x1 && x < width; x += stepX) {
            const i = y * width + x;
            sr += linear(r[i]!);
            sg += linear(g[i]!);
            sb += linear(b[i]!);
            n++;
          }
        if (n > 0) this.cell(cy * COLUMNS + cx, sr / n, sg / n, sb / n);
      }
    }
    for (const kind of ['general', 'red'] as const)
      for (const direction of ['up', 'down'] as const) this.gather(kind, direction);
    this.frame++;
  }

  private cell(i: number, r: number, g: number, b: number): void {
    const y = relativeLuminance(r, g, b);
    if (this.frame === 0) {
      this.low[i] = this.high[i] = y;
    } else {
      if (y > this.high[i]!) this.high[i] = y;
      if (y < this.low[i]!) this.low[i] = y;
      if (this.direction[i] !== 1 && y > this.low[i]! && isGeneralTransition(this.low[i]!, y)) {
        this.stamps.general.up[i] = this.frame;
        this.direction[i] = 1;
        this.high[i] = this.low[i] = y;
      } else if (this.direction[i] !== -1 && y < this.high[i]! && isGeneralTransition(this.high[i]!, y)) {
        this.stamps.general.down[i] = this.frame;
        this.direction[i] = -1;
        this.high[i] = this.low[i] = y;
      } else if (this.direction[i] === 1) this.low[i] = Math.min(y, this.high[i]!);
      else if (this.direction[i] === -1) this.high[i] = Math.max(y, this.low[i]!);
      const before: Rgb = [this.lastRgb[3 * i]!, this.lastRgb[3 * i + 1]!, this.lastRgb[3 * i + 2]!];
      const now: Rgb = [r, g, b];
      if (isRedTransition(before, now)) {
        const entering = isSaturatedRed(now) && (!isSaturatedRed(before) || this.redState[i] !== 1);
        if (entering ? this.redState[i] !== 1 : this.redState[i] !== -1) {
          this.stamps.red[entering ? 'up' : 'down'][i] = this.frame;
          this.redState[i] = entering ? 1 : -1;
        }
        this.lastRgb.set(now, 3 * i);
      } else if (isSaturatedRed(before) === isSaturatedRed(now)) this.lastRgb.set(now, 3 * i);
      return;
    }
    this.lastRgb.set([r, g, b], 3 * i);
  }

  /** Enters a transition where enough of the screen made it together. */
  private gather(kind: 'general' | 'red', direction: 'up' | 'down'): void {
    const stamp = this.stamps[kind][direction];
    const recent = this.frame - TOGETHER;
    let count = 0;
    for (let i = 0; i < this.cells; i++) if (stamp[i]! > recent && stamp[i]! >= 0) count++;
    if (count === 0) return;
    const screenShare = count / this.cells;
    let best = 0;
    if (screenShare < 1) {
      const table = new Int32Array((COLUMNS + 1) * (ROWS + 1));
      for (let y = 0; y < ROWS; y++) {
        let row = 0;
        for (let x = 0; x < COLUMNS; x++) {
          const v = stamp[y * COLUMNS + x]!;
          row += v > recent && v >= 0 ? 1 : 0;
          table[(y + 1) * (COLUMNS + 1) + x + 1] = table[y * (COLUMNS + 1) + x + 1]! + row;
        }
      }
      for (let y = 0; y + FIELD_ROWS <= ROWS; y++)
        for (let x = 0; x + FIELD_COLUMNS <= COLUMNS; x++) {
          const w = COLUMNS + 1;
          const s =
            table[(y + FIELD_ROWS) * w + x + FIELD_COLUMNS]! -
            table[y * w + x + FIELD_COLUMNS]! -
            table[(y + FIELD_ROWS) * w + x]! +
            table[y * w + x]!;
          if (s > best) best = s;
        }
    } else best = FIELD_COLUMNS * FIELD_ROWS;
    const fieldShare = best / (FIELD_COLUMNS * FIELD_ROWS);
    const t: FlashTransition = { frame: this.frame, kind, direction, screenShare, fieldShare };
    if (fieldShare >= QUARTER) enter(this.fieldTransitions, t);
    if (screenShare >= QUARTER) {
      enter(this.transitions, t);
      stamp.fill(-9);
    }
  }

  report(): FlashReport {
    const worst = (
      list: readonly FlashTransition[],
      kind: 'general' | 'red',
    ): { flashes: number; fromFrame: number } => {
      const own = list.filter((t) => t.kind === kind);
      let best = { flashes: 0, fromFrame: 0 };
      for (let a = 0; a < own.length; a++) {
        let n = 0;
        while (a + n < own.length && own[a + n]!.frame - own[a]!.frame < this.framesPerSecond) n++;
        if (Math.floor(n / 2) > best.flashes) best = { flashes: Math.floor(n / 2), fromFrame: own[a]!.frame };
      }
      return best;
    };
    const flashes: { kind: 'general' | 'red'; from: number; to: number; screenShare: number }[] = [];
    for (const kind of ['general', 'red'] as const) {
      const own = this.transitions.filter((t) => t.kind === kind);
      for (let i = 0; i + 1 < own.length; i += 2)
        flashes.push({
          kind,
          from: own[i]!.frame,
          to: own[i + 1]!.frame,
          screenShare: Math.min(own[i]!.screenShare, own[i + 1]!.screenShare),
        });
    }
    flashes.sort((a, b) => a.from - b.from);
    const general = worst(this.transitions, 'general');
    const red = worst(this.transitions, 'red');
    let run = 0;
    let longest = 0;
    for (let i = 1; i < this.transitions.length; i++) {
      run =
        this.transitions[i]!.frame - this.transitions[i - 1]!.frame < this.framesPerSecond / 2
          ? run + this.transitions[i]!.frame - this.transitions[i - 1]!.frame
          : 0;
      longest = Math.max(longest, run);
    }
    return {
      frames: this.frame,
      flashes,
      worst: { general, red },
      passes: general.flashes <= 3 && red.flashes <= 3,
      passesField:
        worst(this.fieldTransitions, 'general').flashes <= 3 && worst(this.fieldTransitions, 'red').flashes <= 3,
      longSequence: longest > 5 * this.framesPerSecond,
    };
  }
}

/** Transitions alternate: a second one in the same direction goes on with the first. */
function enter(list: FlashTransition[], t: FlashTransition): void {
  for (let i = list.length - 1; i >= 0; i--) {
    if (list[i]!.kind !== t.kind) continue;
    if (list[i]!.direction === t.direction) return;
    break;
  }
  list.push(t);
}
