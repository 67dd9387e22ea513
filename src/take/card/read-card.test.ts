/**
 * Rendered cards whose camera, light and exposure are known (bench/card-drawing.ts): readings within half the bars;
 * markers against OpenCV's dictionary; pictures without a card.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { renderCard } from '../../../bench/card-drawing.js';
import { CARD_WITH_BALL, CARD_WITH_PEG, type CardScene } from '../../../bench/card-scenes.js';
import { MARKER_BITS } from '../../brief/card-layout.js';
import { cardPdf } from '../../brief/card-print.js';
import { bt709Encode, srgbDecode } from '../../colour/transfer.js';
import { RandomStream } from '../../core/random.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { writePng16 } from '../../media/stills.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { exposureOfCard } from './card-measures.js';
import { loadVision } from './card-code.js';
import { measureTake } from '../measure-take.js';
import { readCard } from './read-card.js';

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-card-'));
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

const scenes: CardScene[] = [
  CARD_WITH_PEG,
  {
    ...CARD_WITH_PEG,
    focalPx: 975,
    tiltDeg: -22,
    rollDeg: -2,
    cameraHeight: 0.7,
    card: { x: -0.15, z: 1.6, turnDeg: -25 },
    sun: { azimuthDeg: -70, elevationDeg: 55 },
    blurPx: 1.2,
    noise: 0.012,
    seed: 2,
    paper: 'a4',
  },
  {
    ...CARD_WITH_PEG,
    focalPx: 640,
    tiltDeg: -40,
    rollDeg: 0,
    cameraHeight: 1.2,
    card: { x: 0, z: 1.3, turnDeg: 3 },
    sun: { azimuthDeg: 120, elevationDeg: 48 },
    blurPx: 0.6,
    noise: 0.01,
    seed: 3,
  },
  {
    ...CARD_WITH_PEG,
    focalPx: 1100,
    tiltDeg: -24,
    rollDeg: 0.5,
    cameraHeight: 0.9,
    card: { x: 0.2, z: 1.9, turnDeg: 14 },
    sun: null,
    stands: 'nothing',
    blurPx: 2.5,
    noise: 0.01,
    seed: 4,
    paper: 'letter',
  },
];

async function written(name: string, picture: Picture): Promise<string> {
  const file = join(folder, `${name}.png`);
  await writePng16(file, picture);
  return file;
}

/**
 * A drawn card, whose camera codes by sRGB's curve, as one that codes by BT.709's: by that curve stills and film are
 * taken to light, so amounts of light are held against it. `by` times as much light.
 */
function inFilmCodes(p: Picture, by = 1): Picture {
  for (let i = 0; i < p.data.length; i++) p.data[i] = bt709Encode(by * srgbDecode(p.data[i]!));
  return p;
}

describe('floor card', () => {
  it("holds the bits of the library's own dictionary (OpenCV DICT_4X4_50)", async () => {
    const { cv } = await loadVision();
    const dictionary = cv.getPredefinedDictionary(cv.DICT_4X4_50);
    MARKER_BITS.forEach((bits, id) => {
      const m = new cv.Mat();
      dictionary.generateImageMarker(id, 6, m, 1);
      const rows = [1, 2, 3, 4].map((y) => [1, 2, 3, 4].map((x) => (m.data[y * 6 + x]! > 127 ? '1' : '0')).join(''));
      expect(rows).toEqual(bits);
      m.delete();
    });
    dictionary.delete();
  });

  scenes.forEach((s, i) =>
    it(`reads camera${s.sun === null ? '' : ', white and sun'} of scene ${i + 1} within half the bars`, async () => {
      const r = await readCard(await written(`card-${i}`, renderCard(s)));
      expect(r.markers.length).toBe(4);
      // The project's bars are tilt 0.5°, height 2 %, focal length 2 %, sun 3°.
      expect(Math.abs(r.pose.tiltDeg - s.tiltDeg)).toBeLessThan(0.25);
      expect(Math.abs(r.pose.rollDeg - s.rollDeg)).toBeLessThan(0.25);
      expect(Math.abs(r.pose.cameraHeight / s.cameraHeight - 1)).toBeLessThan(0.01);
      expect(Math.abs(r.pose.focalPx / s.focalPx - 1)).toBeLessThan(0.01);
      expect(Math.hypot(r.pose.card.x - s.card.x, r.pose.card.z - s.card.z)).toBeLessThan(0.02 * s.card.z);
      expect(Math.abs(r.pose.card.turnDeg - s.card.turnDeg)).toBeLessThan(1);
      expect(r.white!.gains[0]).toBeCloseTo(1 / 1.05, 1);
      expect(r.white!.gains[2]).toBeCloseTo(1 / 0.8, 1);
      expect(r.ball).toBeNull();
      if (s.sun === null) {
        expect(r.sun).toBeNull();
        expect(r.sunReason).toMatch(/no clear shadow/);
      } else {
        expect(r.sun).not.toBeNull();
        expect(Math.abs(r.sun!.azimuthDeg - s.sun.azimuthDeg)).toBeLessThan(1.5);
        expect(Math.abs(r.sun!.elevationDeg - s.sun.elevationDeg)).toBeLessThan(1.5);
      }
    }),
  );

  it('reads the key from a ball on the spot, and takes neither for the other', async () => {
    const r = await readCard(await written('ball', inFilmCodes(renderCard(CARD_WITH_BALL))));
    expect(r.ball).not.toBeNull();
    expect(r.sun).toBeNull();
    expect(r.sunReason).toMatch(/ball/);
    // The project's bar is 15°, its goal 8°.
    const at = (az: number, el: number): number[] => [
      Math.cos(el) * Math.sin(az),
      Math.sin(el),
      -Math.cos(el) * Math.cos(az),
    ];
    const rad = Math.PI / 180;
    const seen = at(r.ball!.azimuthDeg * rad, r.ball!.elevationDeg * rad);
    const truth = at(65 * rad, 40 * rad);
    expect(
      Math.acos(Math.min(1, seen[0]! * truth[0]! + seen[1]! * truth[1]! + seen[2]! * truth[2]!)) / rad,
    ).toBeLessThan(4);
    // Key 0.7 / sin 40° against sky and bounce where the ball faces the key, as drawn in card-scenes.ts.
    const up = Math.sin(40 * rad);
    const ambient = 0.3 * (0.5 + 0.5 * up) + 0.6 * 0.85 * (0.5 - 0.5 * up);
    expect(Math.abs(r.ball!.keyFillStops - Math.log2((0.7 / up + ambient) / ambient))).toBeLessThan(0.3);
  });

  it(
    'a take takes its light from the ball on its card, whether marks settle the view or not, ' +
      'and not where a shadow is marked',
    async () => {
      const s: CardScene = { ...CARD_WITH_BALL, rollDeg: 0 };
      const file = await written('ball-take', renderCard(s));
      const horizon = {
        kind: 'horizon',
        line: [
          [0, 270 - 900 * Math.tan(Math.PI / 6)],
          [960, 270 - 900 * Math.tan(Math.PI / 6)],
        ],
      };
      for (const marks of [
        { frame: 0, marks: [] },
        { frame: 0, focalPx: 900, cameraHeight: 0.8, marks: [horizon] },
      ] as unknown as MarksFile[]) {
        const take = await measureTake(file, marks);
        expect(take.light.azimuthDeg.how).toMatch(/ball/);
        expect(Math.abs(take.light.azimuthDeg.value! - 65)).toBeLessThan(5);
        expect(Math.abs(take.light.elevationDeg.value! - 40)).toBeLessThan(5);
        expect(take.view!.focalPx.how).toMatch(marks.marks.length === 0 ? /floor card/ : /^(?!.*floor card)/);
      }
      const marked = await measureTake(file, {
        frame: 0,
        focalPx: 900,
        cameraHeight: 0.8,
        marks: [horizon, { kind: 'shadow', foot: [500, 300], tip: [560, 280], height: 0.2 }],
      } as unknown as MarksFile);
      expect(marked.light.azimuthDeg.how ?? '').not.toMatch(/ball/);
    },
  );

  it('tells how a take is exposed: by stops of the light on the paper, brought to a face towards the key', async () => {
    // The scenes' floor gets .8 of (1.05, 1, .8), luma .797 (-.33 stop), seven tenths of it key, at 48° in the first: a
    // face towards the key gets (.7 / sin 48° + .3) times as much, .31 stop more.
    const dimmed = (s: CardScene, by: number): Picture => inFilmCodes(renderCard(s), by);
    const soft = await readCard(await written('exposed', dimmed(scenes[3]!, 1)));
    const dim = await readCard(await written('dim', dimmed(scenes[3]!, 0.25)));
    expect(Math.abs(exposureOfCard(soft, null)!.value! + 0.33)).toBeLessThan(0.15);
    expect(Math.abs(exposureOfCard(dim, null)!.value! + 2.33)).toBeLessThan(0.15);
    expect(exposureOfCard({ ...dim, white: { ...dim.white!, plainPaper: null } }, null)).toBeUndefined();
    const take = await measureTake(await written('dim-take', dimmed(scenes[0]!, 0.35)), {
      frame: 0,
      marks: [],
    } as unknown as MarksFile);
    expect(Math.abs(take.light.exposureStops!.value! - (-0.33 + 0.31 + Math.log2(0.35)))).toBeLessThan(0.25);
  });

  it('reads the code where it is large enough, and takes a known focal length as it is', async () => {
    const s: CardScene = {
      ...CARD_WITH_PEG,
      focalPx: 1500,
      tiltDeg: -45,
      rollDeg: 0,
      cameraHeight: 0.48,
      card: { x: 0, z: 0.48, turnDeg: 5 },
      sun: null,
      stands: 'nothing',
      blurPx: 0.6,
      noise: 0.008,
      seed: 5,
    };
    const r = await readCard(await written('near', renderCard(s)), { focalPx: 1500 });
    expect(r.code).toEqual({ production: 'Last Tram to Harrow Hill', pick: 'platform' });
    expect(r.pose.focalPx).toBeCloseTo(1500, 6);
    expect(r.pose.sd.focalPx).toBe(0);
    expect(Math.abs(r.pose.cameraHeight / 0.48 - 1)).toBeLessThan(0.01);
  });

  it('says that there is no card instead of inventing one', async () => {
    const random = new RandomStream(9);
    const noise = createPicture(480, 270, 3);
    for (let i = 0; i < noise.data.length; i++) noise.data[i] = random.uniform();
    await expect(readCard(await written('noise', noise))).rejects.toThrow(/PW-CARD-NONE/);
    // A page with text-like rows, a chequered floor, and a page with four dark squares that are no fiducials.
    const drawn: Record<string, (x: number, y: number) => number> = {
      page: (x, y) =>
        x < 140 || x > 340 || y < 40 || y > 240 ? 0.2 : y % 9 < 4 && (x * 7 + y * 13) % 5 < 3 ? 0.2 : 0.9,
      floor: (x, y) => ((Math.floor((x + 0.3 * y) / 22) + Math.floor(y / 16)) % 2 === 0 ? 0.85 : 0.15),
      squares: (x, y) =>
        x < 170 || x > 310 || y < 35 || y > 235
          ? 0.25
          : [
                [176, 43],
                [256, 43],
                [176, 179],
                [256, 179],
              ].some(([a, b]) => x >= a! && x < a! + 48 && y >= b! && y < b! + 48)
            ? 0.1
            : 0.92,
    };
    for (const [name, at] of Object.entries(drawn)) {
      const p = createPicture(480, 270, 3);
      for (let y = 0; y < 270; y++)
        for (let x = 0; x < 480; x++)
          for (let c = 0; c < 3; c++)
            plane(p, c)[y * 480 + x] = Math.max(0, Math.min(1, at(x, y) + 0.01 * random.normal()));
      await expect(readCard(await written(name, p)), name).rejects.toThrow(/PW-CARD-NONE/);
    }
  });

  it('prints the same bytes twice, true to size', async () => {
    const a = await cardPdf({ production: 'Last Tram to Harrow Hill', pick: 'platform', paper: 'a4' });
    const b = await cardPdf({ production: 'Last Tram to Harrow Hill', pick: 'platform', paper: 'a4' });
    expect(a.equals(b)).toBe(true);
    expect(a.subarray(0, 5).toString()).toBe('%PDF-');
  });
});
