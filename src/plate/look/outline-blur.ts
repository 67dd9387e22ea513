/**
 * How softly the outline of a head-like ellipse stands in the picture: rays across it, each a step between head and
 * background. A step of height C blurred by a Gaussian of sd σ has the steepest slope C / (σ √2π) (the edge-spread
 * relation behind Zhuo & Sim, "Defocus map estimation from a single image", Pattern Recognition 44, 2011). The sharper
 * rays are believed: hair and shading only widen.
 */
import type { Picture } from '../../image/picture.js';

const RAYS = 48;
/** Rays sharper than all but this share. */
const SHARPER = 0.3;
/** Range looked at, as a share of the ellipse's radius. */
const FROM = 0.55;
const TO = 1.45;

/**
 * σ of the outline's blur in pixels; null where too little of it stands out from what lies
 * behind. Ellipse [cx, cy, rx, ry, deg]; linear RGB.
 */
export function outlineBlur(p: Picture, ellipse: readonly [number, number, number, number, number]): number | null {
  const [cx, cy, rx, ry, deg] = ellipse;
  const n = p.width * p.height;
  const angle = (deg * Math.PI) / 180;
  const ca = Math.cos(angle);
  const sa = Math.sin(angle);
  const found: number[] = [];
  let peak = 0;
  const rays: { contrast: number; sigma: number }[] = [];
  for (let k = 0; k < RAYS; k++) {
    const a = (2 * Math.PI * k) / RAYS;
    const ex = rx * Math.cos(a);
    const ey = ry * Math.sin(a);
    const dx = ex * ca - ey * sa;
    const dy = ex * sa + ey * ca;
    const radius = Math.hypot(dx, dy);
    const steps = Math.ceil(radius * (TO - FROM));
    const line: [number[], number[], number[]] = [[], [], []];
    for (let i = 0; i <= steps; i++) {
      const t = FROM + ((TO - FROM) * i) / steps;
      const x = Math.floor(cx + dx * t);
      const y = Math.floor(cy + dy * t);
      if (x < 0 || y < 0 || x >= p.width || y >= p.height) break;
      for (let c = 0; c < 3; c++) line[c]!.push(p.data[c * n + y * p.width + x]!);
    }
    const m = line[0].length;
    if (m < 8) continue;
    // The step is that of the channel that changes most between the two ends, its slope over two pixels (noise).
    let best = { contrast: 0, sigma: Infinity };
    for (let c = 0; c < 3; c++) {
      const v = line[c]!;
      const end = Math.max(2, m >> 3);
      const mean = (from: number, to: number): number => {
        let s = 0;
        for (let i = from; i < to; i++) s += v[i]!;
        return s / (to - from);
      };
      const contrast = Math.abs(mean(0, end) - mean(m - end, m));
      let slope = 0;
      for (let i = 2; i < m; i++) slope = Math.max(slope, Math.abs(v[i]! - v[i - 2]!) / 2);
      if (contrast > best.contrast && slope > 0)
        best = { contrast, sigma: contrast / (slope * Math.sqrt(2 * Math.PI)) };
    }
    if (best.contrast > 0) rays.push(best);
    peak = Math.max(peak, best.contrast);
  }
  for (const r of rays) if (r.contrast > 0.25 * peak) found.push(r.sigma);
  if (found.length < 6) return null;
  return found.sort((a, b) => a - b)[Math.floor(SHARPER * found.length)]!;
}
