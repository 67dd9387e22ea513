/**
 * Sub-pixel outline of the card's fiducials: along each printed border (black inside, paper outside, known to the millimetre)
 * the place is found where the light crosses half way between the two, measured across the edge in linear light, in which blur
 * moves nothing. Profiles after the one-dimensional edge localisation of Harris's RAPiD tracker (Harris & Stennett, "RAPID: a
 * video rate object tracker", BMVC 1990): predicted edge points, measured normal offsets.
 */
import { markerCorners, MARKER_MM } from '../brief/card-layout.js';
import { sampleBilinear } from '../image/sampling.js';

export interface EdgePoint {
  /** On the card, millimetres. */
  readonly xMm: number;
  readonly yMm: number;
  /** Where the edge was found, pixels, and its unit normal in the picture. */
  readonly x: number;
  readonly y: number;
  readonly nx: number;
  readonly ny: number;
}

/** Looks for the borders of fiducials `ids` near where `toPixel` predicts them. `luma` is linear, height × width. */
export function findEdges(luma: Float32Array, width: number, height: number, ids: readonly number[], toPixel: (xMm: number, yMm: number) => readonly [number, number] | null): EdgePoint[] {
  const found: EdgePoint[] = [];
  const cell = MARKER_MM / 6;
  for (const id of ids) {
    const corners = markerCorners(id);
    // The border that faces the middle has code or patches within a cell of it: no clean step there.
    const facing = corners[0]![0] < 0 ? 1 : 3;
    for (let e = 0; e < 4; e++) {
      if (e === facing) continue;
      const a = corners[e]!, b = corners[(e + 1) % 4]!;
      // Outward normal on the page (corners run clockwise, y down).
      const nx = (b[1] - a[1]) / MARKER_MM, ny = -(b[0] - a[0]) / MARKER_MM;
      for (let k = 1; k < 16; k++) {
        const t = k / 16, xMm = a[0] + (b[0] - a[0]) * t, yMm = a[1] + (b[1] - a[1]) * t;
        // Near a corner the blur of the other edge mixes in.
        if (Math.min(t, 1 - t) * MARKER_MM < cell * 0.6) continue;
        const p = toPixel(xMm, yMm), out = toPixel(xMm + nx * cell * 0.62, yMm + ny * cell * 0.62), inn = toPixel(xMm - nx * cell * 0.62, yMm - ny * cell * 0.62);
        if (p === null || out === null || inn === null) continue;
        const reach = Math.min(Math.hypot(out[0] - p[0], out[1] - p[1]), Math.hypot(inn[0] - p[0], inn[1] - p[1]));
        if (reach < 1.5) continue;
        // The picture's normal to the projected edge.
        const q = toPixel(xMm + (b[0] - a[0]) * 0.02, yMm + (b[1] - a[1]) * 0.02);
        if (q === null) continue;
        const tx = q[0] - p[0], ty = q[1] - p[1], tl = Math.hypot(tx, ty);
        let mx = -ty / tl, my = tx / tl;
        if (mx * (out[0] - p[0]) + my * (out[1] - p[1]) < 0) { mx = -mx; my = -my; }
        const perp = mx * (out[0] - p[0]) + my * (out[1] - p[1]);
        const span = Math.max(1.5, Math.min(6, perp));
        // Averaged along the edge, where nothing changes, so that grain does not decide.
        const along = Math.min(3, 0.25 * tl / 0.02 / 6);
        const at = (s: number): number => {
          let sum = 0;
          for (let j = -2; j <= 2; j++) {
            const x = p[0] + mx * s + (tx / tl) * along * j * 0.5 - 0.5, y = p[1] + my * s + (ty / tl) * along * j * 0.5 - 0.5;
            if (x < 1 || y < 1 || x > width - 2 || y > height - 2) return NaN;
            sum += sampleBilinear(luma, width, height, x, y);
          }
          return sum / 5;
        };
        const dark = (at(-span) + at(-span * 0.9)) / 2, light = (at(span) + at(span * 0.9)) / 2;
        if (!(light - dark > 0.04)) continue;
        // Area of the step: its place is where the integral over the profile balances, unbiased by symmetric blur.
        let area = 0, n = 0, bad = false;
        const steps = 24;
        for (let i = 0; i < steps; i++) {
          const v = at(-span + ((i + 0.5) * 2 * span) / steps);
          if (Number.isNaN(v)) { bad = true; break; }
          area += (v - dark) / (light - dark);
          n++;
        }
        if (bad || n === 0) continue;
        const offset = span - (area / n) * 2 * span;
        if (Math.abs(offset) > span * 0.75) continue;
        found.push({ xMm, yMm, x: p[0] + mx * offset, y: p[1] + my * offset, nx: mx, ny: my });
      }
    }
  }
  return found;
}
