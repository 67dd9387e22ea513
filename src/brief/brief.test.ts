/**
 * Optics against published tables (test/published/optics.json, which names its sources); set-up and lamp against the
 * pinhole's geometry worked out here; sentences of a brief for what is known, rough or missing.
 */
import { ATTENTION_DEFAULTS, type Attention } from './cautions.js';
import { planDay } from './day-plan.js';
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { measured } from '../core/measure.js';
import { groundCamera, project } from '../geometry/camera.js';
import type { PlateMeasures, View } from '../plate/types.js';
import { makeBrief } from './brief.js';
import type { BriefRequest } from './brief-request.js';
import { angleOfViewDeg, fillStopsBelowKey, shutterSeconds } from './optics.js';
import { planSetUp } from './set-up.js';
import { cueTicks, renderCue } from './turn-cue.js';
import type { ShootCamera } from './types.js';
import { groundPointAt, viewCamera } from './view-camera.js';

interface Published {
  fov: { toleranceDeg: number; rows: { d: number; f: number; deg: number }[] };
  pinhole: {
    scaledMatch: {
      plate_distance_m: number;
      plate_subject_m: number;
      stand_in_m: number;
      shoot_distance_m: number;
      camera_height_scale: number;
    };
  };
  shutter: { rows: { fps: number; angle: number; t: string }[] };
}
const published = JSON.parse(
  readFileSync(new URL('../../test/published/optics.json', import.meta.url), 'utf8'),
) as Published;

const phone: ShootCamera = {
  name: 'Phone',
  sensorWidthMm: 9.8,
  sensorHeightMm: 5.5,
  lensesMm: [
    [6.86, 6.86],
    [13.7, 13.7],
  ],
  videoWidthPx: 1920,
  videoHeightPx: 1080,
  rates: ['24/1', '30/1'],
};

describe('optics against published examples', () => {
  it('angles of view are those of the tables', () => {
    for (const r of published.fov.rows)
      expect(Math.abs(angleOfViewDeg(r.d, r.f) - r.deg)).toBeLessThan(published.fov.toleranceDeg);
  });
  it('shutter angles give the published times', () => {
    for (const r of published.shutter.rows)
      expect(1 / shutterSeconds(r.angle, r.fps)).toBeCloseTo(Number(r.t.split('/')[1]), 6);
  });
  it('fill below key for a ratio: 2:1 lit-to-shadow means fill equals key', () => {
    expect(fillStopsBelowKey(1)).toBeCloseTo(0, 9);
    expect(fillStopsBelowKey(2)).toBeCloseTo(Math.log2(3), 9);
  });
});

describe('set-up', () => {
  it('scales the published match', () => {
    const s = published.pinhole.scaledMatch;
    const up = planSetUp({
      plateCameraHeightM: 1.5,
      plateDistanceM: s.plate_distance_m,
      plateBaseHeightM: 0,
      platePerformerHeightM: s.plate_subject_m,
      plateFocalPx: 1500,
      performerHeightM: s.stand_in_m,
      camera: phone,
      roomLengthM: 10,
    });
    expect(up.distanceM).toBeCloseTo(s.shoot_distance_m, 3);
    expect(up.cameraHeightM).toBeCloseTo(1.5 * s.camera_height_scale, 3);
    expect(up.tooShort).toBeNull();
  });
  it('keeps the sight line and says what it costs where the room is too short', () => {
    const q = {
      plateCameraHeightM: 1.5,
      plateDistanceM: 6,
      plateBaseHeightM: 0,
      platePerformerHeightM: 0.4,
      plateFocalPx: 1500,
      performerHeightM: 0.4,
      camera: phone,
    } as const;
    const free = planSetUp({ ...q, roomLengthM: 20 });
    const tight = planSetUp({ ...q, roomLengthM: 4 });
    expect(tight.tooShort?.perspectiveErrorPercent).toBeGreaterThan(1);
    expect((tight.cameraHeightM - 0.2) / tight.distanceM).toBeCloseTo((free.cameraHeightM - 0.2) / free.distanceM, 9);
    expect(tight.distanceM + 1.7).toBeCloseTo(4, 9);
  });
  it("raises the performer where the film's camera looks from below its base", () => {
    const up = planSetUp({
      plateCameraHeightM: 1.2,
      plateDistanceM: 3,
      plateBaseHeightM: 1.5,
      platePerformerHeightM: 0.4,
      plateFocalPx: 1500,
      performerHeightM: 0.4,
      camera: phone,
      roomLengthM: 9,
    });
    expect(up.raiseM).toBeCloseTo(0.42, 6);
    expect(up.cameraHeightM).toBeCloseTo(0.12, 6);
    // The film's camera looks up to the performer's middle, .5 m above it and 3 m away; so does the home camera.
    expect(up.tiltDeg).toBeCloseTo((Math.atan2(0.5, 3) * 180) / Math.PI, 6);
  });
});

const v: View = {
  frame: 0,
  widthPx: 854,
  heightPx: 480,
  focalPx: measured(1100, 'px', 10, 'test'),
  tiltDeg: measured(-3, 'deg', 0.2, 'test'),
  rollDeg: measured(0.5, 'deg', 0.2, 'test'),
  cameraHeight: measured(1.35, 'm', 0.02, 'test'),
  covariance: new Array<number>(16).fill(0),
  residualPx: 0.3,
  notes: [],
};

describe('where the performer is', () => {
  const c = viewCamera(v)!;
  it('finds a standing thing from its pixels, and a carried one from its own height', () => {
    const base = project(
      groundCamera({ focalPx: 1100, tiltDeg: -3, rollDeg: 0.5, cameraHeight: 1.35, widthPx: 854, heightPx: 480 }),
      [0.7, 0, 5],
    )!;
    const top = project(c.pinhole, [0.7, 0.6, 5])!;
    const stood = groundPointAt(c, [base.x, base.y], [top.x, top.y], 0)!;
    expect(stood.distanceM).toBeCloseTo(Math.hypot(0.7, 5), 6);
    expect(stood.heightM).toBeCloseTo(0.6, 6);
    const b2 = project(c.pinhole, [0.3, 1.4, 3])!;
    const t2 = project(c.pinhole, [0.3, 1.8, 3])!;
    const carried = groundPointAt(c, [b2.x, b2.y], [t2.x, t2.y], null, 0.4)!;
    expect(carried.distanceM).toBeCloseTo(Math.hypot(0.3, 3), 6);
    expect(carried.baseHeightM).toBeCloseTo(1.4, 6);
  });
});

describe('brief', () => {
  const measures: PlateMeasures = {
    file: 'x.mp4',
    span: { in: 0, out: 48 },
    rate: '24/1',
    widthPx: 854,
    heightPx: 480,
    view: v,
    light: {
      azimuthDeg: measured(40, 'deg', 2, 't'),
      elevationDeg: measured(30, 'deg', 2, 't'),
      keyFillStops: measured(2, 'stop', 0.2, 't'),
      softnessDeg: measured(0.53, 'deg', 0.1, 't'),
      temperatureK: measured(5200, 'K', 200, 't'),
      tintDuv: measured(0, '1', 0.002, 't'),
      overcast: false,
      notes: [],
    },
  };
  const request: BriefRequest = {
    pick: 'p',
    title: 'P',
    action: 'look up',
    measures,
    marks: { frame: 0, marks: [{ kind: 'stand', ground: [300, 430], top: [300, 330] }] },
    performer: { name: 'Clementine', heightM: 0.42, triesADay: 4 },
    camera: phone,
    place: {
      latitudeDeg: 51.5,
      longitudeDeg: 0,
      timeZone: 'Europe/London',
      roomLengthM: 5,
      yard: { fromDeg: 250, toDeg: 340 },
    },
    fromDate: '2026-06-20',
    days: 3,
  };
  it('states set-up, sun with a heading inside the yard, and lamp', () => {
    const b = makeBrief(request);
    const c = viewCamera(v)!;
    const at = groundPointAt(c, [300, 430], [300, 330], 0)!;
    expect(b.performer.heightInPlateM).toBeCloseTo(at.heightM, 9);
    expect(b.setUp!.viewElevationDeg).toBeCloseTo((Math.atan2(1.35 - at.heightM / 2, at.distanceM) * 180) / Math.PI, 6);
    expect(b.light.sun!.windows.length).toBeGreaterThan(0);
    // The yard lies between 250 and 340°; the sun may stand 15° beside its place.
    for (const w of b.light.sun!.windows)
      for (const h of w.cameraHeadingDeg) {
        expect(h).toBeGreaterThan(234.9);
        expect(h).toBeLessThan(355.1);
      }
    expect(b.light.lamp!.bearingDeg).toBe(40);
    expect(b.light.lamp!.fillStopsBelowKey).toBeCloseTo(Math.log2(3), 9);
    expect(b.instructions.join(' ')).toMatch(/tilted \d+\.\d° down/);
    expect(b.instructions.join(' ')).toMatch(/Record at \d+(\.\d+)? frames a second with the shutter/);
    expect(b.cautions.join(' ')).toMatch(/Never look at the sun/);
  });
  it("says where the film camera's view is only roughly known, and what would tell it", () => {
    const rough = (v2: View): ReturnType<typeof makeBrief> =>
      makeBrief({ ...request, measures: { ...measures, view: v2 } });
    expect(makeBrief(request).instructions.join(' ')).not.toMatch(/That is rough/);
    // A tilt known within 10° and nothing else unsure: the elevation towards the performer is as unsure.
    const covariance = new Array<number>(16).fill(0);
    covariance[5] = ((10 * Math.PI) / 180) ** 2;
    const told = rough({
      ...v,
      covariance,
      tiltDeg: { ...measured(-3, 'deg', 10, 'test'), priorLed: true, wouldHelp: 'two lines along the ground' },
    });
    expect(told.instructions[1]).toMatch(/^That is rough: .* only within ± \d+°, mostly from usual values\./);
    expect(told.missing.join(' ')).toMatch(/more surely: two lines along the ground/);
    expect(told.setUp!.cameraHeightM).toBeCloseTo(makeBrief(request).setUp!.cameraHeightM, 9);
  });
  it('says where the key is known less surely than light may be off', () => {
    const lit = (azimuthSd: number, elevation: number, elevationSd: number): ReturnType<typeof makeBrief> =>
      makeBrief({
        ...request,
        measures: {
          ...measures,
          light: {
            ...measures.light!,
            azimuthDeg: { ...measured(-84, 'deg', azimuthSd, 'a head'), wouldHelp: 'a shadow' },
            elevationDeg: measured(elevation, 'deg', elevationSd, 'a head'),
          },
        },
      });
    const rough = /^That is rough: (.*) Compare light and shade/;
    const said = (b: ReturnType<typeof makeBrief>): string[] => b.instructions.filter((i) => rough.test(i));
    expect(said(lit(10, 30, 5))).toEqual([]);
    expect(said(lit(40, 30, 5))[0]).toContain("the key's side is known only within ± 40°, its height within ± 5°");
    expect(said(lit(124, 60, 25))[0]).toContain('the key may come from any side, its height within ± 25°');
    expect(lit(124, 60, 25).missing).toContain('direction of the key light more surely: a shadow');
    // Overhead a key has hardly a side: 40° round at 80° up are 7° of its direction.
    expect(said(lit(40, 80, 5))).toEqual([]);
  });
  it("asks for the plate's own rate, and says what a camera calls it or that it has another", () => {
    const asked = (rate: string, rates: string[]): string =>
      makeBrief({ ...request, measures: { ...measures, rate }, camera: { ...phone, rates } }).instructions.find((i) =>
        i.startsWith('Record at'),
      )!;
    expect(asked('24/1', ['24/1', '30/1'])).toMatch(/^Record at 24 frames a second with/);
    expect(asked('24000/1001', ['24/1', '30/1'])).toMatch(
      /^Record at 23\.976 frames a second \(the plate's; a camera that calls it 24 will do\) with/,
    );
    expect(asked('25/1', ['24/1', '30/1'])).toMatch(
      /^Record at 24 frames a second \(the plate has 25, which this camera has not: .*re-timed\) with/,
    );
  });
  it('names a shutter that a camera has, where the plate shows no motion blur too', () => {
    const asked = (value: number, sd: number): string => {
      const motionBlur = { shutterDeg: { value, unit: 'deg', sd, how: '', frames: [0, 9] } };
      const look = { motionBlur } as unknown as NonNullable<typeof measures.look>;
      return makeBrief({ ...request, measures: { ...measures, rate: '24/1', look } }).instructions.find((i) =>
        i.startsWith('Record at'),
      )!;
    };
    expect(asked(180, 20)).toMatch(/shutter at 1\/48 s\. /);
    // 21.6° of 360° at 24 frames a second: 1/400 s.
    expect(asked(0, 21.6)).toMatch(/shutter at 1\/400 s or shorter/);
    expect(asked(0, 0)).toMatch(/as short as the light allows/);
  });
  it('the shoot day keeps to the attention that the book asks for', () => {
    const day = (attention: Attention | undefined): number[] =>
      planDay({
        date: '2026-06-20',
        briefs: [{ brief: makeBrief(request), costume: '', useSun: false }],
        place: request.place,
        fromHour: 9,
        toHour: 18,
        triesADay: 4,
        ...(attention === undefined ? {} : { attention }),
      })
        .slots.filter((x) => x.kind === 'shoot')
        .map((x) => (Date.parse(x.end) - Date.parse(x.start)) / 60000);
    const tries = Math.min(4, makeBrief(request).length.tries);
    // 20 s and 60 s of rest a try by the program's own numbers; 30 s and 90 s by the book's.
    expect(day(undefined)).toEqual([Math.ceil((tries * 80) / 60)]);
    expect(day({ ...ATTENTION_DEFAULTS, takeSeconds: 30, restSeconds: 90 })).toEqual([Math.ceil((tries * 120) / 60)]);
    expect(day({ ...ATTENTION_DEFAULTS, blockMinutes: 1, blocksADay: 1 })).toEqual([]);
  });
  it('says which marks are missing instead of inventing numbers', () => {
    const b = makeBrief({
      ...request,
      measures: { ...measures, view: undefined, light: undefined },
      marks: { frame: 0, marks: [] },
    });
    expect(b.setUp).toBeNull();
    expect(b.light.lamp).toBeNull();
    expect(b.missing.length).toBe(2);
    expect(b.missing.join('; ')).toContain('direction of the key light: mark a shadow');
  });
  it('of a key whose side alone is known asks for how high it stands', () => {
    const elevationDeg = { ...measures.light!.elevationDeg, value: null, sd: null };
    const b = makeBrief({ ...request, measures: { ...measures, light: { ...measures.light!, elevationDeg } } });
    expect(b.light.lamp).toBeNull();
    expect(b.missing).toEqual([
      expect.stringMatching(/^how high the key light stands \(it comes .*\): give the marked shadow the height/),
    ]);
  });
  it('tells honestly when the sun never gets there', () => {
    const b = makeBrief({ ...request, fromDate: '2026-12-20' });
    expect(b.light.sun!.windows).toEqual([]);
    expect(b.light.sun!.reason).toMatch(/^the sun at 51\.5, 0\.0 \(north, east\) does not get to 30°/);
  });
});

describe('turn cue', () => {
  const yawDeg = Array.from({ length: 25 }, (_, i) => i * 5);
  it('ticks each 15 degrees at the time the curve passes them', () => {
    const t = cueTicks({ yawDeg, framesPerSecond: 24 });
    const ticks = t.filter((x) => x.kind === 'tick');
    expect(ticks).toHaveLength(8);
    expect(ticks[0]!.seconds).toBeCloseTo(4 + 3 / 24, 9);
    expect(t[t.length - 1]!.seconds).toBeCloseTo(5, 9);
  });
  it('sounds at the ticks and is silent between', () => {
    const s = renderCue({ yawDeg, framesPerSecond: 24 });
    const loud = (from: number, to: number): number =>
      Math.max(...s.samples.subarray(Math.round(from * 48000), Math.round(to * 48000)).map(Math.abs));
    expect(loud(4 + 3 / 24, 4 + 3 / 24 + 0.02)).toBeGreaterThan(0.1);
    expect(loud(0.5, 0.9)).toBeLessThan(1e-3);
    expect(() => renderCue({ yawDeg: [1], framesPerSecond: 24 })).toThrow(/PW-CUE-EMPTY/);
  });
});
