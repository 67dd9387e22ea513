// A paper stage in three layers: flowers before Clementine, Clementine, a moon on a string behind her. Drawn flat, cut
// from one sheet.

import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';

const PAPER_WIDTH = 1280;
const PAPER_HEIGHT = 720;

const INK = '#2a1d1f';
const shape = (body: string, fill: string, edge = 5): string =>
  body.replace('/>', ` fill="${fill}" stroke="${INK}" stroke-width="${edge}"/>`);
const oval = (x: number, y: number, rx: number, ry: number, turn = 0): string =>
  `<ellipse cx="${x}" cy="${y}" rx="${rx}" ry="${ry}" transform="rotate(${turn} ${x} ${y})"/>`;

function flowers(): string {
  let out = '';
  for (let i = 0; i < 9; i++) {
    const x = 330 + 78 * i;
    const y = 600 + 22 * (i % 3);
    const h = 40 + 9 * ((i * 5) % 4);
    out += shape(`<path d="M${x} 720Q${x + 8} ${y + 40} ${x} ${y}"/>`, 'none', 8);
    for (let k = 0; k < 6; k++)
      out += shape(
        oval(x + 20 * Math.cos(k * 1.047), y - h / 3 + 20 * Math.sin(k * 1.047), 14, 14),
        ['#e7a43c', '#d9603b', '#efe2c0'][i % 3]!,
        4,
      );
    out += shape(oval(x, y - h / 3, 11, 11), '#7a4a22', 4);
  }
  return out;
}

function rabbit(): string {
  return [
    shape(oval(640, 520, 110, 120), '#c98648'),
    shape(oval(640, 545, 62, 88), '#ecd3a4', 0),
    shape(oval(580, 632, 48, 20), '#c98648'),
    shape(oval(700, 632, 48, 20), '#c98648'),
    shape(oval(540, 350, 36, 104, 16), '#a9672f'),
    shape(oval(740, 350, 36, 104, -16), '#a9672f'),
    shape(oval(640, 320, 108, 96), '#c98648'),
    shape(oval(640, 366, 52, 40), '#ecd3a4', 0),
    shape(oval(598, 308, 15, 19), INK, 0),
    shape(oval(682, 308, 15, 19), INK, 0),
    shape(oval(640, 352, 13, 9), '#b55a50', 3),
    shape('<path d="M545 420Q640 470 735 420L728 452Q640 500 552 452Z"/>', '#27345f'),
    shape('<path d="M640 228Q626 205 640 190Q654 205 640 228Z"/>', '#a9672f', 4),
  ].join('');
}

function moon(): string {
  return (
    `${shape('<path d="M960 0L960 96"/>', 'none', 4)}` +
    `${shape('<path d="M960 96A92 92 0 1 1 872 250A78 78 0 1 0 960 96Z"/>', '#f1e3b2')}` +
    `${shape('<path d="M300 0L300 60"/>', 'none', 4)}` +
    `${shape('<path d="M300 60L313 95L350 97L321 120L331 156L300 135L269 156L279 120L250 97L287 95Z"/>', '#f1e3b2')}`
  );
}

/** Writes the three layers as PNG with alpha into a folder, the nearest first. */
export async function makePaper(folder: string): Promise<void> {
  mkdirSync(folder, { recursive: true });
  for (const [name, body] of [
    ['1-flowers', flowers()],
    ['2-clementine', rabbit()],
    ['3-moon', moon()],
  ] as const) {
    await sharp(
      Buffer.from(
        `<svg xmlns="http://www.w3.org/2000/svg" width="${PAPER_WIDTH}" height="${PAPER_HEIGHT}">${body}</svg>`,
      ),
    )
      .png({ compressionLevel: 9, palette: true, colours: 64 })
      .toFile(join(folder, `${name}.png`));
  }
}
