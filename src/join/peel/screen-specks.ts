/**
 * A few pixels alone on the screen, only just off its colour (the rim of a hard shadow, a stitch), are screen. A part
 * is followed from its pixels until it proves too large or too foreign, so no labelling of the whole picture is needed.
 */
import { kernels } from '../../image/kernels.js';

/** Most pixels of a speck. */
const SPECK = 4;
/** Most ρ of its pixels, in units of the limit. */
const SPECK_EXCESS = 1.6;

/** Takes specks into `sure`, w × h, by the kernel. `excess`: ρ over the limit, a pixel. */
export function takeInSpecks(sure: Uint8Array, excess: Float32Array, w: number, h: number): void {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run('takeSpecks', [scope.changed(sure), scope.input(excess), w, h, SPECK, SPECK_EXCESS], 1, 1, 64);
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link takeInSpecks}. */
export function takeInSpecksPlain(sure: Uint8Array, excess: Float32Array, w: number, h: number): void {
  const n = w * h;
  const part = new Int32Array(SPECK + 1);
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 1 || excess[i]! >= SPECK_EXCESS) continue;
    part[0] = i;
    let count = 1;
    let small = true;
    for (let k = 0; k < count && small; k += 1) {
      const at = part[k]!;
      const x = at % w;
      const y = (at - x) / w;
      for (let v = y > 0 ? y - 1 : 0; v <= y + 1 && v < h && small; v += 1) {
        for (let u = x > 0 ? x - 1 : 0; u <= x + 1 && u < w; u += 1) {
          const j = v * w + u;
          if (sure[j] === 1) continue;
          let known = false;
          for (let m = 0; m < count; m += 1) if (part[m] === j) known = true;
          if (known) continue;
          if (count === SPECK || excess[j]! >= SPECK_EXCESS) {
            small = false;
            break;
          }
          part[count] = j;
          count += 1;
        }
      }
    }
    if (small) for (let k = 0; k < count; k += 1) sure[part[k]!] = 1;
  }
}
