import { describe, expect, it } from 'vitest';
import { callSheetPdf } from './call-sheet.js';
import { penFor } from './pdf-lettering.js';

/** A document that writes down what is set, in which font. */
function recorder() {
  const said: { font: string; text: string; continued: boolean }[] = [];
  let font = '';
  const doc = {
    registerFont: () => doc,
    font: (f: string) => {
      font = f;
      return doc;
    },
    fontSize: () => doc,
    text: (t: string, ...rest: unknown[]) => {
      said.push({ font, text: t, continued: (rest.at(-1) as { continued?: boolean }).continued === true });
      return doc;
    },
  };
  return { doc: doc as never, said };
}

describe('words on PDF pages', () => {
  it('go on in the font that has them, and tell what none has', () => {
    const { doc, said } = recorder();
    const pen = penFor(doc);
    pen.say('text', 12, 'Set up Двор 兎!');
    expect(said.map((s) => s.text)).toEqual(['Set up ', 'Двор ', '?', '!']);
    expect(said.map((s) => s.font)).toEqual(['text-0', 'text-2', 'text-0', 'text-0']);
    expect(said.map((s) => s.continued)).toEqual([true, true, true, false]);
    expect(pen.missing()).toBe('兎');
  });
  it('embed a Cyrillic font where a title asks for one', async () => {
    const fonts = async (title: string): Promise<number> =>
      (await callSheetPdf({ title, place: 'x', day: null, briefs: [], paper: 'a4' }))
        .toString('latin1')
        .split('/FontDescriptor').length;
    expect(await fonts('Двор')).toBe(await fonts('Yard'));
    expect(await fonts('Yard Двор')).toBeGreaterThan(await fonts('Yard'));
  });
});
