/**
 * Rendered lines by their ink: some in each part of a line and none beside it, figures as high as capitals, other
 * scripts, fitting and breaking.
 */
import { describe, expect, it } from 'vitest';
import { fitLine, foreignLetters, lineWidth, loadFace, renderLines, wrapText } from './lettering.js';
import { cardCoverage } from './title-card.js';

const faces = { regular: loadFace('regular'), bold: loadFace('bold') };

describe('lettering', () => {
  it('draws every letter of a line: ink in each eighth of its width, and none beside it', async () => {
    for (const [text, face] of [
      ['Clementine Takes the Last Tram', 'bold'],
      ['Harrow Hill. All change.', 'bold'],
      ['Media by the project, three hedgehogs', 'regular'],
    ] as const) {
      const size = 40;
      const w = Math.ceil(lineWidth(text, size, faces[face]));
      const W = w + 40;
      const ink = await renderLines([{ text, sizePx: size, x: 20, y: 60, align: 'left', face }], W, 90, faces);
      const column = (x: number): number => {
        let s = 0;
        for (let y = 0; y < 90; y++) s += ink[y * W + x]!;
        return s;
      };
      for (let k = 0; k < 8; k++) {
        let s = 0;
        for (let x = 20 + Math.floor((k * w) / 8); x < 20 + Math.floor(((k + 1) * w) / 8); x++) s += column(x);
        expect(s, `${text}, part ${k}`).toBeGreaterThan(20);
      }
      expect(column(4) + column(W - 4)).toBe(0);
    }
  });
  it('sets figures as high as capitals', async () => {
    const top = async (text: string): Promise<number> => {
      const line = { text, sizePx: 60, x: 10, y: 80, align: 'left', face: 'regular' } as const;
      const ink = await renderLines([line], 60, 100, faces);
      return Math.floor(ink.findIndex((v) => v > 0.5) / 60);
    };
    const [capital, small] = [await top('O'), await top('o')];
    expect(small - capital).toBeGreaterThan(8);
    // Nearer to a capital's height than to a small letter's: figures overshoot and undershoot a little.
    for (const figure of '0123456789')
      expect(Math.abs((await top(figure)) - capital), figure).toBeLessThan((small - capital) / 2);
  });
  it('draws Cyrillic and Greek as well; lines of other scripts are set by the machine and told', async () => {
    const ink = async (text: string): Promise<number> =>
      (await renderLines([{ text, sizePx: 40, x: 300, y: 60, align: 'centre', face: 'bold' }], 600, 90, faces)).reduce(
        (s, v) => s + v,
        0,
      );
    for (const text of ['Двор', 'Ελένη', 'Łódź']) expect(await ink(text), text).toBeGreaterThan(300);
    expect(foreignLetters(['Двор', 'Ελένη'])).toBeNull();
    expect(foreignLetters(['Двор', '兎の'])).toMatch(/no 兎の; .*look at the titles/);
    // However long: no line leaves the card.
    const title = `${'очень длинная прогулка '.repeat(9)}兎`;
    const card = await cardCoverage([title, 'a film'], 320, 180, faces);
    let edge = 0;
    let inside = 0;
    for (let y = 0; y < 180; y++)
      for (let x = 0; x < 320; x++) {
        if (x < 4 || x >= 316 || y < 4 || y >= 176) edge += card[y * 320 + x]!;
        else inside += card[y * 320 + x]!;
      }
    expect(inside).toBeGreaterThan(200);
    expect(edge).toBe(0);
  });
  it('fits a line to a width: smaller first, then cut short', () => {
    expect(fitLine('short', 30, 400, faces.regular)).toEqual({ text: 'short', sizePx: 30 });
    const line = fitLine('a caption that is rather too long', 30, 400, faces.regular);
    const cut = fitLine('a caption that is far too long for so narrow a picture'.repeat(2), 30, 400, faces.regular);
    expect([line.text, line.sizePx < 30]).toEqual(['a caption that is rather too long', true]);
    expect(cut.text).toMatch(/ …$/);
    for (const l of [line, cut]) expect(lineWidth(l.text, l.sizePx, faces.regular)).toBeLessThanOrEqual(401);
  });
  it('breaks lines where they no longer fit', () => {
    const lines = wrapText('one two three four five six', 120, 30, faces.regular);
    expect(lines.length).toBeGreaterThan(1);
    expect(lines.join(' ')).toBe('one two three four five six');
    for (const l of lines) expect(lineWidth(l, 30, faces.regular)).toBeLessThanOrEqual(120);
  });
});
