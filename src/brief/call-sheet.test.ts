/**
 * Pages of the PDF counted for made briefs: one for the day, one a pick, more where a brief is long; the same plan
 * gives the same bytes.
 */
import { describe, expect, it } from 'vitest';
import { callSheetPdf } from './call-sheet.js';
import type { DayPlan } from './day-plan.js';
import type { Brief } from './types.js';

const brief = (pick: string): Brief =>
  ({
    pick,
    title: `Pick ${pick}`,
    performer: { name: 'Clementine', heightM: 0.49, heightInPlateM: 0.49, scale: 1 },
    setUp: { distanceM: 2.8, cameraHeightM: 0.88, tiltDeg: -12.7, raiseM: 0.06 },
    screen: { widthM: 1.7, heightM: 0.6, behindM: 0.8, floorM: 1.6, colour: 'green', why: '' },
    light: {
      lamp: { bearingDeg: 50, distanceM: 2, heightM: 1.6, sizeM: 0, fillStopsBelowKey: 2.6, temperatureK: 3700 },
      sun: {
        windows: Array.from({ length: 60 }, (_, k) => ({
          date: `2026-06-${String(1 + (k >> 1)).padStart(2, '0')}`,
          start: '2026-06-20T07:39:00+01:00',
          end: '2026-06-20T09:49:00+01:00',
          elevationDeg: [24, 44],
          cameraHeadingDeg: [312, 339],
        })),
        reason: null,
      },
    },
    instructions: Array.from(
      { length: 8 },
      () => `Camera: lens 88 cm above the floor, ${'and more of it '.repeat(9)}.`,
    ),
    missing: ['how it turns: put two pose marks'],
    reference: ['Roll the card for two seconds.', 'Ten seconds of the empty set.'],
    cautions: ['Short goes and real rests.'],
  }) as unknown as Brief;
const day: DayPlan = {
  date: '2026-06-20',
  slots: [{ kind: 'shoot', pick: 'a', start: '2026-06-20T09:20:00', end: '2026-06-20T09:27:00', note: '' }],
  unplaced: [{ pick: 'b', reason: 'no sun window' }],
  notes: [],
};
const pages = (pdf: Buffer): number => pdf.toString('latin1').match(/\/Type \/Page\b(?!s)/g)!.length;

describe('the call sheet', () => {
  it('has one page for the day and one a pick, with drawing, windows and lines for tries, on both papers', async () => {
    for (const paper of ['a4', 'letter'] as const) {
      const ask = { title: 'Yard', place: 'Greenwich', day, briefs: [brief('a'), brief('b')], paper };
      expect(pages(await callSheetPdf(ask)), paper).toBe(3);
    }
  });
  it('gives the same pages for the same plan', async () => {
    const ask = { title: 'Yard', place: 'x', day, briefs: [brief('a')], paper: 'a4' } as const;
    expect(Buffer.compare(await callSheetPdf(ask), await callSheetPdf(ask))).toBe(0);
  });
  it('goes on overleaf where a brief is long, and numbers that page too', async () => {
    const long = {
      ...brief('a'),
      instructions: Array.from({ length: 40 }, (_, k) => `Step ${k}: ${'so '.repeat(60)}`),
    };
    expect(
      pages(await callSheetPdf({ title: 'Yard', place: 'x', day: null, briefs: [long], paper: 'a4' })),
    ).toBeGreaterThan(3);
  });
});
