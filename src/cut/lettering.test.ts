import { describe, expect, it } from 'vitest';
import { lineWidth, loadFace, renderLines, wrapText } from './lettering.js';

const faces = { regular: loadFace('regular'), bold: loadFace('bold') };

describe('lettering', () => {
  it('draws every letter of a line: ink in each eighth of its width, and none beside it', async () => {
    for (const [text, face] of [['Clementine Takes the Last Tram', 'bold'], ['Harrow Hill. All change.', 'bold'], ['Media by the project, three hedgehogs', 'regular']] as const) {
      const size = 40, w = Math.ceil(lineWidth(text, size, faces[face])), W = w + 40;
      const ink = await renderLines([{ text, sizePx: size, x: 20, y: 60, align: 'left', face }], W, 90, faces);
      const column = (x: number): number => { let s = 0; for (let y = 0; y < 90; y++) s += ink[y * W + x]!; return s; };
      for (let k = 0; k < 8; k++) {
        let s = 0;
        for (let x = 20 + Math.floor((k * w) / 8); x < 20 + Math.floor(((k + 1) * w) / 8); x++) s += column(x);
        expect(s, `${text}, part ${k}`).toBeGreaterThan(20);
      }
      expect(column(4) + column(W - 4)).toBe(0);
    }
  });
  it('breaks lines where they no longer fit', () => {
    const lines = wrapText('one two three four five six', 120, 30, faces.regular);
    expect(lines.length).toBeGreaterThan(1);
    expect(lines.join(' ')).toBe('one two three four five six');
    for (const l of lines) expect(lineWidth(l, 30, faces.regular)).toBeLessThanOrEqual(120);
  });
});
