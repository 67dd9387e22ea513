// Rain on a window pane, painted over a picture of what is behind it: veil of a reflection, resting and running drops.

import { blur } from './look.js';
import { seeded } from './random.js';
import { type Picture } from './trace.js';
import { type Point } from './vector.js';

export interface Pane {
  /** Corners in pixels, clockwise from top left. */
  readonly corners: readonly Point[];
  readonly transmittance: number;
  readonly reflectance: number;
  readonly slidePxPerFrame: number;
  readonly seed: number;
  readonly drops: number;
  readonly runners: number;
}

/** Width of the reflected street, so that it can slide by. */
export const REFLECTION_WIDTH = 1100;

export interface Drop {
  readonly x: number;
  readonly y: number;
  readonly r: number;
  readonly tall: number;
}

/** Drops on the pane in one frame: those that rest, then those that run. */
export function dropsAt(pane: Pane, frame: number): Drop[] {
  const r = seeded(pane.seed);
  const [tl, , br] = pane.corners;
  const x0 = tl?.[0] ?? 0;
  const y0 = tl?.[1] ?? 0;
  const w = (br?.[0] ?? 0) - x0;
  const h = (br?.[1] ?? 0) - y0;
  const out: Drop[] = [];
  for (let i = 0; i < pane.drops; i++)
    out.push({ x: x0 + w * r(), y: y0 + h * r(), r: 1.5 + 7.5 * r() ** 4, tall: 1 + 0.25 * r() });
  for (let i = 0; i < pane.runners; i++) {
    const x = x0 + w * (0.04 + 0.92 * r());
    const start = h * (r() * 0.9 - 0.15);
    const speed = 1.2 + 2.6 * r();
    const phase = r() * 6.28;
    const stop = 10 + 30 * r();
    // A running drop creeps, then lets go.
    const travel = 0.4 * frame + speed * Math.max(0, frame - stop) * 1.4;
    const at = start + travel;
    out.push({ x: x + 3 * Math.sin(at / 23 + phase), y: y0 + at, r: 4.2 + 2.2 * r(), tall: 1.35 });
    for (let k = 1; k < 9; k++) {
      const back = at - k * 9 - 3 * Math.sin(k * 2.3 + phase);
      if (back > start - 30)
        out.push({
          x: x + 3 * Math.sin(back / 23 + phase),
          y: y0 + back,
          r: 1.1 + 0.7 * Math.abs(Math.sin(k * 1.7)),
          tall: 1.2,
        });
    }
  }
  return out.filter((d) => d.y > y0 - 8 && d.y < y0 + h + 8);
}

/**
 * How much of what lies behind comes through at each pixel where no drop is, and the veil that is
 * added: for truth and for guests behind the pane.
 */
export function glassOver(behind: Picture, street: Picture, frame: number, pane: Pane): Picture {
  const out = { ...behind, rgb: behind.rgb.slice() };
  const mirror = blur(street, 3);
  const soft = blur(behind, 5);
  const { w, h } = behind;
  const [tl, , br] = pane.corners;
  const bx0 = tl?.[0] ?? 0;
  const by0 = tl?.[1] ?? 0;
  const bx1 = br?.[0] ?? 0;
  const by1 = br?.[1] ?? 0;
  const spare = street.w - w;
  const slide = spare - 4 - frame * pane.slidePxPerFrame;
  const veil = (x: number, y: number, c: number): number => {
    const sx = Math.min(street.w - 1.001, Math.max(0, x + slide));
    const i = Math.floor(sx);
    const p = (Math.min(h - 1, y) * street.w + i) * 3 + c;
    const t = sx - i;
    return pane.reflectance * ((mirror.rgb[p] ?? 0) * (1 - t) + (mirror.rgb[p + 3] ?? 0) * t);
  };
  const cover = (x: number, y: number): number => {
    const e = Math.min(x + 0.5 - bx0, bx1 - x - 0.5, y + 0.5 - by0, by1 - y - 0.5) + 0.5;
    return Math.min(1, Math.max(0, e));
  };
  for (let y = Math.max(0, Math.floor(by0)); y < Math.min(h, Math.ceil(by1)); y++) {
    for (let x = Math.max(0, Math.floor(bx0)); x < Math.min(w, Math.ceil(bx1)); x++) {
      const k = cover(x, y);
      const p = (y * w + x) * 3;
      for (let c = 0; c < 3; c++) {
        const b = behind.rgb[p + c] ?? 0;
        out.rgb[p + c] = b * (1 - k) + k * (b * pane.transmittance + veil(x, y, c));
      }
    }
  }
  for (const d of dropsAt(pane, frame)) {
    const ry = d.r * d.tall;
    for (let y = Math.max(0, Math.floor(d.y - ry - 1)); y <= Math.min(h - 1, Math.ceil(d.y + ry + 1)); y++) {
      for (let x = Math.max(0, Math.floor(d.x - d.r - 1)); x <= Math.min(w - 1, Math.ceil(d.x + d.r + 1)); x++) {
        const u = (x + 0.5 - d.x) / d.r;
        const t = (y + 0.5 - d.y) / ry;
        const q = Math.sqrt(u * u + t * t);
        const k = Math.min(1, Math.max(0, (1 - q) * d.r)) * cover(x, y);
        if (k <= 0) continue;
        // A drop shows the scene upside down and small; its rim is dark above and bright below.
        const sx = Math.min(w - 1, Math.max(0, Math.round(d.x - u * 46 * (0.4 + q))));
        const sy = Math.min(h - 1, Math.max(0, Math.round(d.y - t * 60 * (0.4 + q))));
        const rim = 1 - 0.42 * q ** 6;
        const lean = 0.8 - 0.34 * t;
        const glint = Math.exp(-(((u + 0.32) / 0.2) ** 2 + ((t + 0.42) / 0.18) ** 2)) * (d.r > 2.2 ? 0.85 : 0.3);
        const p = (y * w + x) * 3;
        const s = (sy * w + sx) * 3;
        for (let c = 0; c < 3; c++) {
          const lens =
            (0.75 * (soft.rgb[s + c] ?? 0) + 1.15 * veil(sx, sy, c)) * rim * (1 + 0.55 * (lean - 0.8)) +
            glint +
            0.12 * Math.max(0, t) * q;
          const a = out.rgb[p + c] ?? 0;
          out.rgb[p + c] = a * (1 - 0.88 * k) + 0.88 * k * lens;
        }
      }
    }
  }
  return out;
}
