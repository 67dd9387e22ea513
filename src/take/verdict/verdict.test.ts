/**
 * Takes with one thing wrong by a known amount: word, number and advice at the edges of each tolerance; the pace of
 * turns whose factor is known.
 */
import { describe, expect, it } from 'vitest';
import { measured, notMeasurable } from '../../core/measure.js';
import { rate } from '../../core/rational.js';
import type { Light } from '../../plate/types.js';
import { turnFromPoses } from '../../plate/turn/turn-poses.js';
import type { SubjectView } from '../../plate/view/view-derived.js';
import type { TakeFrame, TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';
import { fitPace } from './pace-fit.js';
import type { Matter, MatterName } from '../types.js';
import { paceOfPoses } from './pace-poses.js';
import { rankTakes, verdictCost } from './rank-takes.js';
import { judgeTake } from './verdict.js';

const d = (value: number, sd = 0.3): { value: number; sd: number } => ({ value, sd });
const subject = (elevation: number, over = 5, height = 0.5, sd = 0.3): SubjectView => ({
  elevationDeg: d(elevation, sd),
  distanceOverHeight: d(over, 0.1),
  distanceM: d(over * height, 0.05),
  heightM: d(height, 0.01),
  metresPerPx: d(0.002, 0),
});
const light = (azimuth: number | null, elevation: number, stops: number, sd = 1): Light => ({
  azimuthDeg:
    azimuth === null
      ? notMeasurable('deg', 'no shadow is marked', 'a shadow mark')
      : measured(azimuth, 'deg', sd, 'test'),
  elevationDeg: measured(elevation, 'deg', sd, 'test'),
  keyFillStops: measured(stops, 'stop', 0.1, 'test'),
  softnessDeg: notMeasurable('deg', ''),
  temperatureK: notMeasurable('K', ''),
  tintDuv: notMeasurable('1', ''),
  overcast: false,
  notes: [],
});
const r24 = rate(24);
const needs: PlateNeeds = {
  rate: r24,
  lengthFrames: 48,
  subject: subject(10),
  subjectReason: '',
  performerHeightPx: measured(150, 'px', 1, 'test'),
  cutBelow: false,
  light: light(40, 35, 2),
  turn: turnFromPoses(
    [
      { frame: 0, yawDeg: -30 },
      { frame: 24, yawDeg: 0 },
      { frame: 47, yawDeg: 30 },
    ],
    48,
    r24,
  ),
  stir: null,
  sigmaPx: 0.8,
  motionBlurPx: 1,
  eyelineDeg: 20,
};
const good = (count = 120): TakeFrame[] =>
  Array.from({ length: count / 4 }, (_, i) => ({
    frame: 4 * i,
    box: { x0: 300, y0: 100, x1: 600, y1: 500 },
    touches: [],
    offScreen: 0,
    sigmaPx: 0.8,
  }));
const take = (over: Partial<TakeMeasures> = {}): TakeMeasures => ({
  file: 't.mp4',
  rate: '24/1',
  frameCount: 120,
  widthPx: 1280,
  heightPx: 720,
  behind: { kind: 'screen', colour: 'green', share: 0.8 },
  frames: good(),
  performer: { ground: [450, 500], top: [450, 100], heightM: 0.5, marked: true },
  performerHeightPx: measured(400, 'px', 1, 'test'),
  view: null,
  subject: subject(11),
  light: light(42, 36, 2.1),
  turn: turnFromPoses(
    [
      { frame: 20, yawDeg: -30 },
      { frame: 44, yawDeg: 0 },
      { frame: 67, yawDeg: 30 },
    ],
    120,
    r24,
  ),
  evennessStops: measured(0.4, 'stop', 0.03, 'test'),
  screenNoise: measured(0.004, 'ratio', 0.001, 'test'),
  screenClipped: measured(0, 'ratio', 0.001, 'test'),
  spill: measured(0.01, 'ratio', 0.005, 'test'),
  clipped: measured(0, 'ratio', 0.001, 'test'),
  sharpness: measured(1, 'px', 0.1, 'test'),
  motionBlur: measured(1, 'px', 0.3, 'test'),
  eyelineDeg: measured(22, 'deg', 3, 'test'),
  notes: [],
  ...over,
});
const of = (m: MatterName, t: TakeMeasures, n = needs): Matter => judgeTake(n, t).matters.find((q) => q.matter === m)!;

describe('verdict', () => {
  it('passes a take that fits, in every matter', () => {
    const v = judgeTake(needs, take());
    expect(v.matters.filter((m) => m.verdict !== 'fits')).toEqual([]);
    expect(v.verdict).toBe('fits');
    // The turn of the plate starts at frame 0, that of the take at 20.
    expect(v.span).toEqual({ in: 20, out: 68 });
  });

  it(
    'keeps the default tolerances at their edges (design: view 4 / 8, azimuth 15 / 30, elevation 10 / 20, ' +
      'ratio 0.5 / 1.5)',
    () => {
      for (const [off, word] of [
        [3.9, 'fits'],
        [4.1, 'mendable'],
        [7.9, 'mendable'],
        [8.1, 'shoot again'],
        [-4.1, 'mendable'],
        [-8.1, 'shoot again'],
      ] as const)
        expect(of('viewElevation', take({ subject: subject(10 + off) })).verdict).toBe(word);
      for (const [off, word] of [
        [14.9, 'fits'],
        [15.1, 'mendable'],
        [30.1, 'shoot again'],
      ] as const)
        expect(of('lightAzimuth', take({ light: light(40 + off, 35, 2) })).verdict).toBe(word);
      for (const [off, word] of [
        [9.9, 'fits'],
        [-10.1, 'mendable'],
        [20.1, 'shoot again'],
      ] as const)
        expect(of('lightElevation', take({ light: light(40, 35 + off, 2) })).verdict).toBe(word);
      for (const [off, word] of [
        [0.49, 'fits'],
        [0.6, 'mendable'],
        [1.6, 'shoot again'],
      ] as const)
        expect(of('keyFill', take({ light: light(40, 35, 2 + off) })).verdict).toBe(word);
      for (const [px, word] of [
        [150, 'fits'],
        [149, 'mendable'],
        [91, 'mendable'],
        [89, 'shoot again'],
      ] as const)
        expect(of('size', take({ performerHeightPx: measured(px, 'px', 1, 'test') })).verdict).toBe(word);
    },
  );

  it("judges the exposure where the card's white was read, and only there", () => {
    const exposed = (stops: number, sd = 0.25): TakeMeasures =>
      take({ light: { ...light(42, 36, 2.1), exposureStops: measured(stops, 'stop', sd, "the card's white paper") } });
    expect(of('exposure', take())).toBeUndefined();
    for (const [stops, word] of [
      [-0.6, 'fits'],
      [0.4, 'fits'],
      [-1.8, 'mendable'],
      [-3.4, 'shoot again'],
    ] as const)
      expect(of('exposure', exposed(stops)).verdict).toBe(word);
    expect(of('exposure', exposed(-1.8)).change).toMatch(/^open the lens.*1\.8 stops/);
    expect(of('exposure', exposed(1.8)).change).toMatch(/^close the lens/);
    expect(of('exposure', exposed(-2.6, 2))).toMatchObject({ verdict: null, measured: -2.6 });
  });

  it("says the camera's change in centimetres and degrees, and it would put the take right", () => {
    const m = of('viewElevation', take({ subject: subject(18) }));
    const found = /^lower the camera (\d+) cm and tilt up 8°$/.exec(m.change)!;
    expect(found).not.toBeNull();
    // 2.5 m from the performer's middle at 18°: lowered by so much at the same distance
    // along the floor it stands at 10°.
    const flat = 2.5 * Math.cos((18 * Math.PI) / 180);
    const rise = 2.5 * Math.sin((18 * Math.PI) / 180);
    expect((Math.atan2(rise - Number(found[1]) / 100, flat) * 180) / Math.PI).toBeCloseTo(10, 0);
    expect(of('viewElevation', take({ subject: subject(2) })).change).toMatch(
      /^raise the camera \d+ cm and tilt down 8°$/,
    );
  });

  it('tells no metres where the take has no length of its own, and metres where the card gave them', () => {
    const far = take({
      subject: subject(18),
      performer: { ground: [450, 500], top: [450, 100], heightM: null, marked: false },
    });
    expect(of('viewElevation', far).change).toMatch(/^lower the camera \d+ cm/);
    expect(of('viewElevation', { ...far, inHeights: true }).change).toMatch(/of the performer's height/);
    const near = take({
      subject: subject(11, 1.4),
      performer: { ground: [450, 500], top: [450, 100], heightM: null, marked: false },
    });
    expect(of('perspective', near).change).toMatch(/^stand further back: 2\.5\d? m/);
    expect(of('perspective', { ...near, inHeights: true }).change).toMatch(/performer heights/);
  });

  it('does not condemn a perspective that a guessed lens leaves open', () => {
    const at = (heights: number, sd: number): TakeMeasures => {
      const s = subject(11, heights);
      return take({ subject: { ...s, distanceOverHeight: { value: heights, sd } } });
    };
    // One sd nearer and the near end is five times the far end, one sd farther and it would be mendable.
    expect(of('perspective', at(1.28, 0.62))).toMatchObject({ verdict: null, measured: 1.28, sd: 0.62 });
    expect(of('perspective', at(1.28, 0.05)).verdict).toBe('shoot again');
  });

  it('offers to flip a take whose key stands on the mirrored side', () => {
    const m = of('lightAzimuth', take({ light: light(-45, 35, 2) }));
    expect(m.verdict).toBe('mendable');
    expect(m.change).toMatch(/^flip the take/);
    expect(of('lightAzimuth', take({ light: light(120, 35, 2) })).change).toMatch(
      /move the lamp 80° towards camera left/,
    );
  });

  it('judges nothing that is too unsure, says which mark would settle it, and lets it decide nothing', () => {
    const v = judgeTake(needs, take({ subject: subject(14, 5, 0.5, 9), light: light(null, 36, 2.1) }));
    const view = v.matters.find((m) => m.matter === 'viewElevation')!;
    const azimuth = v.matters.find((m) => m.matter === 'lightAzimuth')!;
    expect(view.verdict).toBeNull();
    expect(view.wouldHelp).toMatch(/height/);
    expect(azimuth.verdict).toBeNull();
    expect(azimuth.wouldHelp).toMatch(/shadow/);
    expect(v.verdict).toBe('fits');
    expect(v.notes.join(' ')).toMatch(/not judged: view elevation, light azimuth/);
    // Even an unsure number is hopeless when it is far enough off.
    expect(of('viewElevation', take({ subject: subject(60, 5, 0.5, 9) })).verdict).toBe('shoot again');
  });

  it('names a slow turn with the retime that saves it', () => {
    const slow = turnFromPoses(
      [
        { frame: 0, yawDeg: -30 },
        { frame: 40, yawDeg: 0 },
        { frame: 78, yawDeg: 30 },
      ],
      120,
      r24,
    )!;
    const m = of('turnRate', take({ turn: slow }));
    expect(m.verdict).toBe('mendable');
    expect(m.measured! / m.needed!).toBeCloseTo(0.6, 1);
    expect(m.change).toMatch(/turn faster.*1\.6\d times as fast/);
    const far = turnFromPoses(
      [
        { frame: 0, yawDeg: -30 },
        { frame: 119, yawDeg: 15 },
      ],
      120,
      r24,
    )!;
    expect(of('turnRate', take({ turn: far })).verdict).toBe('shoot again');
  });

  it('lets the take cut the performer where the plate does: a bust behind a rail', () => {
    const cut = (e: 'bottom' | 'left'): TakeFrame[] => good().map((f) => ({ ...f, touches: [e] }));
    const bust = (e: 'bottom' | 'left') => judgeTake({ ...needs, cutBelow: true }, take({ frames: cut(e) })).matters;
    expect(bust('bottom').find((m) => m.matter === 'inFrame')!.verdict).toBe('fits');
    expect(bust('bottom').find((m) => m.matter === 'length')!.verdict).toBe('fits');
    expect(bust('left').find((m) => m.matter === 'inFrame')!.verdict).toBe('shoot again');
  });

  it('lets arms reach in from a side that comes to lie outside the film, and come and go through it', () => {
    // The take is 1280 px wide, its performer 300 px high about x = 450: laid at half the size its right border lies
    // 415 px to the right of the plate's mark.
    const frames = good().map((f, i) =>
      i < 4 ? { ...f, box: null, touches: [] } : { ...f, touches: ['right' as const] },
    );
    const arms = take({
      frames,
      performer: { ground: [450, 500], top: [450, 200], heightM: null, marked: true },
    });
    const at = (x: number) =>
      judgeTake(
        {
          ...needs,
          turn: null,
          places: [{ ground: [x, 200], top: [x, 50] }],
          picture: { widthPx: 854, heightPx: 480 },
        },
        arms,
      ).matters.find((m) => m.matter === 'inFrame')!;
    expect(at(460).verdict).toBe('fits');
    expect(at(400).verdict).toBe('shoot again');
    expect(at(400).change).toMatch(/right side is cut off.*arms may be cut there/);
    // Who is not there and never touches an open side has left the picture.
    const gone = good().map((f, i) => (i < 4 ? { ...f, box: null } : f));
    expect(
      judgeTake({ ...needs, turn: null }, take({ frames: gone })).matters.find((m) => m.matter === 'length')!.measured,
    ).toBeLessThan(120);
  });

  it('names feet out of frame, soft focus, an uneven screen, burnt fur, a short take', () => {
    const cutOff = good().map((f) => ({ ...f, touches: ['bottom' as const] }));
    expect(of('inFrame', take({ frames: cutOff })).verdict).toBe('shoot again');
    expect(of('inFrame', take({ frames: cutOff })).change).toMatch(/feet are cut off/);
    expect(of('focus', take({ sharpness: measured(4, 'px', 0.2, 'test') })).verdict).toBe('mendable');
    expect(of('focus', take({ sharpness: measured(6, 'px', 0.2, 'test') })).verdict).toBe('shoot again');
    expect(of('screenEvenness', take({ evennessStops: measured(2.2, 'stop', 0.1, 'test') })).verdict).toBe(
      'shoot again',
    );
    expect(of('clipping', take({ clipped: measured(0.02, 'ratio', 0.001, 'test') })).verdict).toBe('mendable');
    expect(of('length', take({ frameCount: 56, frames: good(56) })).verdict).toBe('mendable');
    expect(of('length', take({ frameCount: 40, frames: good(40) })).verdict).toBe('shoot again');
    expect(of('length', take({ frameCount: 40, frames: good(40) })).change).toMatch(
      /too short: roll 0\.8 s \(20 frames\) longer/,
    );
    const cutShort = good(40).map((f) => ({ ...f, touches: ['bottom' as const] }));
    expect(of('length', take({ frameCount: 40, frames: cutShort })).change).toMatch(
      /roll 0\.8 s \(20 frames\) longer; and of its 40 frames none can be used/,
    );
    expect(of('length', take({ frameCount: 40, frames: good(40) })).change).not.toMatch(/can be used/);
    expect(of('length', take({ frames: cutOff })).change).toMatch(/5\.0 s \(120 frames\) is long enough.*none of it/);
    expect(of('eyeline', take({ eyelineDeg: measured(60, 'deg', 3, 'test') })).verdict).toBe('shoot again');
  });

  it('takes the empty set at the start or the tail for a short take, not for a badly framed one', () => {
    const still = { ...needs, turn: null },
      judged = (frames: TakeFrame[], m: MatterName): Matter =>
        judgeTake(still, take({ frames, frameCount: 56, turn: null })).matters.find((q) => q.matter === m)!;
    const emptyFrom = (n: number, touching: TakeFrame['touches'] = []): TakeFrame[] =>
      good(56).map((f) =>
        f.frame >= n ? { ...f, box: null, touches: [] } : f.frame === n - 4 ? { ...f, touches: touching } : f,
      );
    // There for 40 of the 48 frames that the plate needs.
    const tail = judged(emptyFrom(40), 'inFrame');
    expect(tail.verdict).toBe('fits');
    expect(tail.measured).toBe(0);
    expect(tail.change).toMatch(/4 of 14 frames looked at show the empty set/);
    const short = judged(emptyFrom(40), 'length');
    expect(short.verdict).toBe('shoot again');
    expect(short.measured).toBe(40);
    expect(short.change).toMatch(/the rest is the empty set; let it stay .* longer/);
    const head = good(56).map((f) => (f.frame < 16 ? { ...f, box: null, touches: [] } : f));
    expect(judged(head, 'inFrame').verdict).toBe('fits');
    // Last seen at the picture's edge: it walked out, and wider framing would have kept it.
    expect(judged(emptyFrom(40, ['left']), 'inFrame').verdict).toBe('shoot again');
    // Gone for a while in the midst is no empty set.
    const midst = good(56).map((f) => (f.frame >= 20 && f.frame < 32 ? { ...f, box: null, touches: [] } : f));
    expect(judged(midst, 'inFrame').verdict).toBe('shoot again');
    expect(judged(midst, 'inFrame').change).toMatch(/in 3 of 14 frames looked at no performer/);
  });

  it('picks a span without the frames in which the performer is cut', () => {
    const frames = good().map((f) => (f.frame < 60 ? { ...f, touches: ['left' as const] } : f));
    const v = judgeTake({ ...needs, turn: null }, take({ frames, turn: null }));
    expect(v.span.in).toBeGreaterThanOrEqual(60);
    expect(v.span.out - v.span.in).toBe(48);
  });

  it('ranks: a star outranks any number, then the word, then the sum of strays', () => {
    const a = { take: 'good', verdict: judgeTake(needs, take()), star: false };
    const b = { take: 'bad but loved', verdict: judgeTake(needs, take({ subject: subject(30) })), star: true };
    const c = { take: 'so-so', verdict: judgeTake(needs, take({ subject: subject(15) })), star: false };
    const again = {
      take: 'as so-so, but further off',
      verdict: judgeTake(needs, take({ subject: subject(16) })),
      star: false,
    };
    expect(again.verdict.verdict).toBe(c.verdict.verdict);
    const unseen = { take: 'not judged', star: false };
    const ranked = rankTakes([unseen, again, c, a, b]);
    expect(ranked.map((q) => q.take)).toEqual([
      'bad but loved',
      'good',
      'so-so',
      'as so-so, but further off',
      'not judged',
    ]);
    expect(verdictCost(b.verdict)).toBeGreaterThan(verdictCost(a.verdict));
  });
});

describe('pace', () => {
  it('finds the factor between two turns whatever their start', () => {
    const curve = (t: number): number => -60 + 130 * (t * t * (3 - 2 * t));
    const plate = {
      frames: Array.from({ length: 49 }, (_, f) => ({ frame: f, yawDeg: curve(f / 48), sd: 1 })),
      peakDegPerSecond: 97,
      startFrame: 0,
      stopFrame: 48,
    };
    const slow = {
      frames: Array.from({ length: 100 }, (_, f) => ({
        frame: f,
        yawDeg: curve(Math.min(1, Math.max(0, (0.75 * (f - 10)) / 48))),
        sd: 1,
      })),
      peakDegPerSecond: 73,
      startFrame: 10,
      stopFrame: 74,
    };
    const p = fitPace(plate, slow, 24, 24)!;
    expect(p.pace).toBeCloseTo(0.75, 2);
    expect(p.takeStartS * 24).toBeCloseTo(10, 0);
    // The same take filmed at 48 frames a second.
    expect(fitPace(plate, slow, 24, 48)!.pace).toBeCloseTo(1.5, 2);
    const back = { ...slow, frames: slow.frames.map((f) => ({ ...f, yawDeg: -f.yawDeg })) };
    expect(fitPace(plate, back, 24, 24)).toBeNull();
  });

  it('does not mistake the chords between three poses for the curve', () => {
    const ease = (t: number): number => -60 + 130 * (t <= 0 ? 0 : t >= 1 ? 1 : t * t * (3 - 2 * t));
    const plate = [0, 18, 35].map((frame) => ({ frame, yawDeg: ease(frame / 35) }));
    for (const pace of [0.6, 0.75, 1, 1.4])
      for (const lead of [0, 14]) {
        const take = [lead, lead + Math.round(17.5 / pace), lead + Math.round(35 / pace)].map((frame) => ({
          frame,
          yawDeg: ease((pace * (frame - lead)) / 35),
        }));
        expect(Math.abs(paceOfPoses(plate, take, 24, 24)!.pace / pace - 1)).toBeLessThan(0.03);
      }
    // A take that stops short of the end.
    const short = [0, 18, 35].map((frame) => ({ frame, yawDeg: ease((0.75 * frame) / 35) }));
    const p = paceOfPoses(plate, short, 24, 24)!;
    expect(Math.abs(p.pace - 0.75)).toBeLessThan(2 * p.sd);
    expect(Math.abs(p.pace / 0.75 - 1)).toBeLessThan(0.06);
    expect(paceOfPoses(plate.slice(0, 2), short, 24, 24)).toBeNull();
  });
});

describe('frames damaged in the file', () => {
  const damage = (frames: readonly number[]): ReturnType<typeof judgeTake> =>
    judgeTake({ ...needs, turn: null }, take({ turn: null, damaged: frames }));
  const of = (v: ReturnType<typeof judgeTake>): Matter | undefined => v.matters.find((m) => m.matter === 'damage');
  it('are a matter of their own, by their share of the stretch that is used', () => {
    expect(of(judgeTake(needs, take()))).toBeUndefined();
    const half = damage(Array.from({ length: 60 }, (_, i) => 2 * i));
    expect(half.verdict).toBe('shoot again');
    expect(of(half)).toMatchObject({ measured: 0.5, verdict: 'shoot again' });
    expect(of(half)!.change).toMatch(/24 of the 48 frames used are damaged .*copy the take again/);
  });
  it('are kept clear of where the take is long enough', () => {
    const few = damage([50, 58, 66]);
    expect(of(few)).toMatchObject({ measured: 0, verdict: 'fits' });
    expect(of(few)!.change).toBe('the 3 damaged frames lie outside the best stretch');
    expect(few.span.in >= 67 || few.span.out <= 50).toBe(true);
  });
});
