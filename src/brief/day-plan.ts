/** A shoot day from briefs: the exact order (shoot-day.ts) put on the clock, with rests and set-ups spelled out. */
import { isoLocal, parseZone, startOfDate, addDays } from './place-time.js';
import { ATTENTION_DEFAULTS, type Attention } from './cautions.js';
import { solveDay, type DayPick } from './shoot-day.js';
import { sunWindows } from './sun.js';
import type { Brief, ShootPlace } from './types.js';

export interface DayPlanSlot {
  readonly kind: 'shoot' | 'rest' | 'set-up';
  readonly pick: string | null;
  readonly start: string;
  readonly end: string;
  readonly note: string;
}

export interface DayPlan {
  readonly date: string;
  readonly slots: readonly DayPlanSlot[];
  readonly unplaced: readonly { readonly pick: string; readonly reason: string }[];
  readonly notes: readonly string[];
}

export interface DayRequest {
  readonly date: string;
  readonly briefs: readonly { readonly brief: Brief; readonly costume: string; readonly useSun: boolean }[];
  readonly place: ShootPlace;
  /** Clock hours of the day, local. */
  readonly fromHour: number;
  readonly toHour: number;
  readonly triesADay: number;
  /** The performer's attention; the program's defaults unless told. */
  readonly attention?: Attention;
  readonly tolerance?: { readonly elevationDeg: number; readonly azimuthDeg: number };
}

/** Set-ups that look alike within what the verdict calls fitting are one. */
function setUpKey(b: Brief, sun: boolean): string {
  const s = b.setUp;
  const az = b.light.azimuthDeg?.value ?? null;
  const el = b.light.elevationDeg?.value ?? null;
  const view =
    s === null
      ? 'no view'
      : `${Math.round(s.viewElevationDeg / 4)}|${Math.round(Math.log2(Math.max(0.1, s.distanceM)) * 3)}`;
  return (
    `${view}|${az === null ? 'any' : Math.round(az / 20)}|${el === null ? 'any' : Math.round(el / 12)}` +
    `|${sun ? 'sun' : 'lamp'}`
  );
}

export function planDay(r: DayRequest): DayPlan {
  const zone = parseZone(r.place.timeZone);
  const midnight = startOfDate(r.date, zone);
  const from = midnight + r.fromHour * 3600e3;
  const to = Math.min(midnight + r.toHour * 3600e3, startOfDate(addDays(r.date, 1), zone));
  const a = r.attention ?? ATTENTION_DEFAULTS;
  const minutesATry = (a.takeSeconds + a.restSeconds) / 60;
  const notes: string[] = [];
  const tolerance = r.tolerance ?? { elevationDeg: 10, azimuthDeg: 15 };
  const picks: DayPick[] = r.briefs.map(({ brief, costume, useSun }) => {
    const az = brief.light.azimuthDeg?.value ?? null;
    const el = brief.light.elevationDeg?.value ?? null;
    let windows: DayPick['windows'] = null;
    if (useSun && az !== null && el !== null && !brief.light.overcast) {
      const yard = r.place.yard;
      const found = sunWindows({
        place: { latitudeDeg: r.place.latitudeDeg, longitudeDeg: r.place.longitudeDeg },
        fromMs: from,
        toMs: to,
        elevationDeg: [Math.max(2, el - tolerance.elevationDeg), Math.min(90, el + tolerance.elevationDeg)],
        ...(yard === null
          ? {}
          : {
              azimuthDeg: [
                yard.fromDeg + 180 - az - tolerance.azimuthDeg,
                yard.toDeg + 180 - az + tolerance.azimuthDeg,
              ] as const,
            }),
      });
      windows = found.map((w) => [(w.startMs - from) / 60000, (w.endMs - from) / 60000] as const);
      if (windows.length === 0 && brief.light.lamp !== null) {
        notes.push(`${brief.title}: the sun does not stand right on this day; planned with the lamp.`);
        windows = null;
      }
    }
    return {
      id: brief.pick,
      shootMinutes: Math.ceil(Math.min(r.triesADay, brief.length.tries) * minutesATry),
      setUpKey: setUpKey(brief, windows !== null),
      setUpMinutes: windows === null ? 25 : 20,
      costume,
      windows,
      weight: 1,
    };
  });
  const solved = solveDay(picks, {
    dayMinutes: (to - from) / 60000,
    costumeMinutes: 10,
    blockMinutes: a.blockMinutes,
    restMinutes: a.restBlockMinutes,
    mostShootMinutes: a.blockMinutes * a.blocksADay,
  });
  const clock = (minute: number): string => isoLocal(from + minute * 60000, zone);
  const slots: DayPlanSlot[] = [];
  let free = solved.slots.length > 0 ? Math.max(0, solved.slots[0]!.setUpStart) : 0;
  for (const s of solved.slots) {
    if (s.restBefore >= a.restBlockMinutes && s.setUpStart - free > 1)
      slots.push({
        kind: 'rest',
        pick: null,
        start: clock(free),
        end: clock(s.setUpStart),
        note: 'rest for the animal',
      });
    if (s.start - s.setUpStart > 0.5)
      slots.push({
        kind: 'set-up',
        pick: s.pick,
        start: clock(s.setUpStart),
        end: clock(s.start),
        note: [
          s.setUpChange ? 'camera, screen and light' : '',
          s.costumeChange ? 'costume' : '',
          s.restBefore >= a.restBlockMinutes ? 'the animal rests meanwhile' : '',
        ]
          .filter((x) => x !== '')
          .join(', '),
      });
    slots.push({ kind: 'shoot', pick: s.pick, start: clock(s.start), end: clock(s.end), note: '' });
    free = s.end;
  }
  notes.push(
    `Times assume ${a.takeSeconds} s a try, ${a.restSeconds} s between tries, ` +
      `a rest of ${a.restBlockMinutes} min after ${a.blockMinutes} min, at most ${a.blocksADay} such blocks a day: ` +
      (r.attention === undefined || Object.entries(ATTENTION_DEFAULTS).every(([k, v]) => a[k as keyof Attention] === v)
        ? "this program's own defaults"
        : "the book's numbers") +
      ', to be shortened whenever the animal says so.',
  );
  return { date: r.date, slots, unplaced: solved.left, notes };
}
