// The poster: Clementine drawn flat on paper, the shape of the tram's advertisement board.

import { execFileSync } from 'node:child_process';
import { rmSync, writeFileSync } from 'node:fs';

import { aim } from './camera.js';
import { noiseTile } from './look.js';
import { GLOBAL } from './shot.js';
import { trace, type TraceOptions } from './trace.js';
import { n } from './vector.js';

const POSTER_WIDTH = 1140;
const POSTER_HEIGHT = 420;

const INK = '0.045,0.03,0.035';
const flat = (rgb: string): string => `texture{pigment{rgb<${rgb}>} finish{ambient 0 diffuse 0 emission 1}}`;

/** A filled oval with an ink edge; z nearer the viewer covers. Units: pixels from the middle, y up. */
function oval(x: number, y: number, rx: number, ry: number, rgb: string, z: number, turn = 0, edge = 3.5): string {
  const disc = (a: number, b: number, c: string, depth: number): string =>
    `disc{0,-z,1 scale <${n(a)},${n(b)},1> rotate z*${n(turn)} translate <${n(x)},${n(y)},${n(depth)}> ${flat(c)}}\n`;
  return (edge > 0 ? disc(rx + edge, ry + edge, INK, z + 0.1) : '') + disc(rx, ry, rgb, z);
}

function lettering(text: string, x: number, y: number, size: number, rgb: string): string {
  return `text{ttf "timrom.ttf" "${text}",0.01,0 scale <${size},${size},1> translate <${x},${y},-40> ${flat(rgb)}}\n`;
}

const COAT = '0.62,0.235,0.06';
const SHADE = '0.47,0.16,0.04';
const CREAM = '0.86,0.74,0.55';

function drawing(): string {
  let out = `plane{-z,-50 ${flat('0.8,0.66,0.42')}}\n`;
  // Rays of the evening sun behind her.
  for (let i = 0; i < 18; i++)
    out +=
      `polygon{4,<0,0,0>,<1200,-58,0>,<1200,58,0>,<0,0,0> rotate z*${i * 20} ` +
      `translate <-330,-20,40> ${flat(i % 2 ? '0.84,0.56,0.25' : '0.82,0.62,0.34')}}\n`;
  // Body, scarf, head.
  out += oval(-330, -215, 135, 120, COAT, 20) + oval(-330, -215, 70, 105, CREAM, 18, 0, 0);
  out +=
    oval(-330, -98, 86, 24, '0.05,0.075,0.24', 16) +
    oval(-300, -128, 22, 40, '0.04,0.06,0.2', 15, 24) +
    oval(-352, -126, 20, 36, '0.05,0.075,0.24', 15, -20);
  out +=
    oval(-466, 10, 40, 104, SHADE, 14, -14) +
    oval(-194, 10, 40, 104, SHADE, 14, 14) +
    oval(-459, 2, 20, 78, '0.72,0.33,0.28', 13, -14, 0) +
    oval(-201, 2, 20, 78, '0.72,0.33,0.28', 13, 14, 0);
  out += oval(-330, 42, 136, 116, COAT, 10) + oval(-330, 90, 26, 62, CREAM, 9, 0, 0);
  out += oval(-376, -26, 62, 46, CREAM, 8, 0, 0) + oval(-284, -26, 62, 46, CREAM, 8, 0, 0);
  for (const s of [-1, 1]) {
    out +=
      oval(-330 + s * 66, 50, 33, 40, INK, 6, 0, 5) +
      oval(-330 + s * 66 - 9, 64, 11, 13, '0.98,0.96,0.9', 5, 0, 0) +
      oval(-330 + s * 66 + 11, 36, 5, 6, '0.8,0.76,0.7', 5, 0, 0);
    for (const a of [-8, 4, 16])
      out +=
        `box{<0,-1.3,0>,<96,1.3,0.1> rotate z*${n(s > 0 ? -a : 180 + a)} ` +
        `translate <${n(-330 + s * 46)},${n(-22)},3> ${flat(INK)}}\n`;
    out += oval(-330 + s * 17, -40, 17, 12, INK, 4.5, 0, 0) + oval(-330 + s * 17, -35, 18, 12, CREAM, 4, 0, 0);
  }
  out += oval(-330, -10, 19, 13, '0.62,0.2,0.19', 3);
  // A conductor's cap, far too small.
  out +=
    oval(-330, 158, 70, 20, '0.05,0.075,0.24', 2) +
    oval(-330, 140, 58, 13, '0.5,0.07,0.045', 1.5, 0, 2.5) +
    oval(-330, 128, 62, 11, INK, 1) +
    oval(-330, 150, 11, 12, '0.72,0.46,0.13', 0.5, 0, 2);
  out +=
    lettering('CLEMENTINE', -116, 64, 98, '0.36,0.035,0.03') +
    lettering('rides for a carrot', -60, -22, 66, INK) +
    lettering('Tram No. 7 to Harrow Hill', -58, -112, 46, INK);
  out += `box{<-108,-42,-30>,<520,-39,-29> ${flat('0.36,0.035,0.03')}}\n`;
  // A carrot to close.
  out +=
    oval(452, -150, 62, 17, '0.75,0.3,0.045', 0, 12) +
    oval(518, -130, 26, 7, '0.14,0.26,0.07', -1, 30, 2) +
    oval(520, -140, 24, 6, '0.18,0.32,0.09', -1, 4, 2);
  for (const y of [-1, 1])
    out += `box{<-560,${n(y * 200 - 2)},-30>,<560,${n(y * 200 + 2)},-29> ${flat('0.36,0.035,0.03')}}\n`;
  for (const x of [-1, 1])
    out += `box{<${n(x * 560 - 2)},-202,-30>,<${n(x * 560 + 2)},202,-29> ${flat('0.36,0.035,0.03')}}\n`;
  return out;
}

const srgb = (x: number): number =>
  x <= 0.0031308 ? 12.92 * Math.max(0, x) : 1.055 * Math.min(1, x) ** (1 / 2.4) - 0.055;

/** Draws the poster as an 8-bit sRGB PNG with a little paper in it. */
export async function makePoster(path: string, options: TraceOptions): Promise<void> {
  const far = 60000;
  const camera = aim([0, 0, -far], 0, 0, far, 0, POSTER_WIDTH, POSTER_HEIGHT);
  const p = await trace(
    GLOBAL + drawing(),
    camera,
    { x: 0, y: 0, w: POSTER_WIDTH, h: POSTER_HEIGHT },
    { ...options, scale: 3 },
  );
  const paper = noiseTile(4242, 1.1, 0.9);
  const bytes = Buffer.alloc(POSTER_WIDTH * POSTER_HEIGHT * 3);
  for (let y = 0; y < POSTER_HEIGHT; y++) {
    for (let x = 0; x < POSTER_WIDTH; x++) {
      for (let c = 0; c < 3; c++) {
        const i = (y * POSTER_WIDTH + x) * 3 + c;
        const grain = 1 + 0.035 * (paper[((y % 512) * 512 + (x % 512)) * 3 + c] ?? 0);
        bytes[i] = Math.round(255 * Math.min(1, Math.max(0, srgb((p.rgb[i] ?? 0) * grain))));
      }
    }
  }
  const ppm = path.replace(/\.png$/, '.part.ppm');
  writeFileSync(ppm, Buffer.concat([Buffer.from(`P6\n${POSTER_WIDTH} ${POSTER_HEIGHT}\n255\n`), bytes]));
  execFileSync('ffmpeg', ['-v', 'error', '-y', '-i', ppm, '-pix_fmt', 'rgb24', path]);
  rmSync(ppm);
}
