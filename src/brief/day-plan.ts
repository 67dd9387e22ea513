/** A shoot day from briefs: the exact order (shoot-day.ts) put on the clock, with rests and set-ups spelled out. */
import { isoLocal, parseZone, startOfDate, addDays } from './place-time.js';
import { ATTENTION_DEFAULTS, type Attention } from './cautions.js';
import { solveDay, type DayPick, type DaySlot } from './shoot-day.js';
import { sunWindows } from './sun.js';
import type { Brief, ShootPlace } from './types.js';

/** One stretch of the day; times as a clock shows them. */
export interface DayPlanSlot {
  readonly kind: 'shoot' | 'rest' | 'set-up';
  readonly pick: string | null;
  readonly start: string;
  readonly end: string;
  readonly note: string;
}

/** A shoot day in order, and what found no place in it. */
export interface DayPlan {
  readonly date: string;
  readonly slots: readonly DayPlanSlot[];
  readonly unplaced: readonly { readonly pick: string; readonly reason: string }[];
  readonly notes: readonly string[];
}

/** What a shoot day is planned from. */
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

/** Minutes for a change of set-up with the sun and with a lamp, and for one of costume: the program's own choice. */
const SET_UP_SUN = 20;
const SET_UP_LAMP = 25;
const COSTUME = 10;

/** The hours of the day, milliseconds since 1970 (UTC), and its time zone. */
interface Hours {
  readonly from: number;
  readonly to: number;
  readonly zone: ReturnType<typeof parseZone>;
}

/** The picks' shooting laid into one day, with rests; times are the place's own, in ISO 8601. */
export function planDay(r: DayRequest): DayPlan {
  const zone = parseZone(r.place.timeZone);
  const midnight = startOfDate(r.date, zone);
  const hours: Hours = {
    from: midnight + r.fromHour * 3600e3,
    to: Math.min(midnight + r.toHour * 3600e3, startOfDate(addDays(r.date, 1), zone)),
    zone,
  };
  const attention = r.attention ?? ATTENTION_DEFAULTS;
  const notes: string[] = [];
  const picks = r.briefs.map((one) => dayPick(r, one, attention, hours, notes));
  const solved = solveDay(picks, {
    dayMinutes: (hours.to - hours.from) / 60000,
    costumeMinutes: COSTUME,
    blockMinutes: attention.blockMinutes,
    restMinutes: attention.restBlockMinutes,
    mostShootMinutes: attention.blockMinutes * attention.blocksADay,
  });
  notes.push(attentionInWords(attention, r.attention));
  return { date: r.date, slots: slotsOf(solved.slots, attention, hours), unplaced: solved.left, notes };
}

function dayPick(
  r: DayRequest,
  { brief, costume, useSun }: DayRequest['briefs'][number],
  attention: Attention,
  hours: Hours,
  notes: string[],
): DayPick {
  const minutesATry = (attention.takeSeconds + attention.restSeconds) / 60;
  let windows = useSun ? sunMinutes(r, brief, hours) : null;
  if (windows !== null && windows.length === 0 && brief.light.lamp !== null) {
    notes.push(`${brief.title}: the sun does not stand right on this day; planned with the lamp.`);
    windows = null;
  }
  return {
    id: brief.pick,
    shootMinutes: Math.ceil(Math.min(r.triesADay, brief.length.tries) * minutesATry),
    setUpKey: setUpKey(brief, windows !== null),
    setUpMinutes: windows === null ? SET_UP_LAMP : SET_UP_SUN,
    costume,
    windows,
    weight: 1,
  };
}

/** When the sun stands as a brief asks, minutes of the day's hours; null where it asks for no sun. */
function sunMinutes(r: DayRequest, brief: Brief, { from, to }: Hours): DayPick['windows'] {
  const az = brief.light.azimuthDeg?.value ?? null;
  const el = brief.light.elevationDeg?.value ?? null;
  if (az === null || el === null || brief.light.overcast) return null;
  const tolerance = r.tolerance ?? { elevationDeg: 10, azimuthDeg: 15 };
  const { latitudeDeg, longitudeDeg, yard } = r.place;
  const found = sunWindows({
    place: { latitudeDeg, longitudeDeg },
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
  return found.map((w) => [(w.startMs - from) / 60000, (w.endMs - from) / 60000] as const);
}

/** The solved day as rests, set-ups and shooting, one after the other. */
function slotsOf(solved: readonly DaySlot[], { restBlockMinutes }: Attention, { from, zone }: Hours): DayPlanSlot[] {
  const clock = (minute: number): string => isoLocal(from + minute * 60000, zone);
  const slots: DayPlanSlot[] = [];
  let free = solved.length > 0 ? Math.max(0, solved[0]!.setUpStart) : 0;
  for (const s of solved) {
    const rested = s.restBefore >= restBlockMinutes;
    if (rested && s.setUpStart - free > 1)
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
          rested ? 'the animal rests meanwhile' : '',
        ]
          .filter((x) => x !== '')
          .join(', '),
      });
    slots.push({ kind: 'shoot', pick: s.pick, start: clock(s.start), end: clock(s.end), note: '' });
    free = s.end;
  }
  return slots;
}

/** What the times assume of the animal's attention, and whose numbers these are. */
function attentionInWords(a: Attention, own: Attention | undefined): string {
  const defaults =
    own === undefined || Object.entries(ATTENTION_DEFAULTS).every(([k, v]) => a[k as keyof Attention] === v);
  return (
    `Times assume ${a.takeSeconds} s a try, ${a.restSeconds} s between tries, ` +
    `a rest of ${a.restBlockMinutes} min after ${a.blockMinutes} min, at most ${a.blocksADay} such blocks a day: ` +
    (defaults ? "this program's own defaults" : "the book's numbers") +
    ', to be shortened whenever the animal says so.'
  );
}
