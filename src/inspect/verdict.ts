/** From readings to matters: value, limit, worst frame, and what to change. */
import type { Recipe, StepName } from '../join/types.js';
import { quantile } from './frame.js';
import type { Inspection, InspectionMatter, InspectionMatterName } from './types.js';

export interface Reading { readonly frame: number; readonly value: number }
export interface Place { readonly frame: number; readonly x: number; readonly y: number }

export interface Series {
  first: number;
  readonly frames: number[];
  readonly readings: { [K in InspectionMatterName | 'shadowStops' | 'roughGrain' | 'grainOutside' | 'roughOutside' | 'seenChatter']?: Reading[] };
  readonly change: { frame: number; inside: number | null; outside: number; plate: number }[];
  /** Take frames per plate frame, planned. */
  readonly planned: number[];
  readonly slipPlan: Place[];
  /** Out and back beside the plan; `plain`: without the plan taken off. */
  readonly jitter: (Place & { readonly plain: readonly [number, number] })[];
  readonly shift: Place[];
  /** Whether the plate's ground could be followed to each frame. */
  readonly followed: boolean[];
  /** Shift against the recipe rendered again. */
  readonly against: Place[];
  /** How far the plate's picture moves a frame, px, where that was looked at. */
  readonly steps: number[];
  readonly outOfStep: { frame: number; same: number; before: number }[];
}

/** Most that the shadow's darkness may differ from the plate's own, stops. */
const SHADOW_STOPS = 0.9;
/** Limits: the program's own choice (see inspect.ts). */
export const LIMITS: Readonly<Record<InspectionMatterName, number>> = {
  slip: 0.5, spill: 1, edgeLightness: 4, chatter: 0.12, grain: 0.35, blur: 0.5, blackLevel: 0.12, whiteLevel: 0.18, colour: 16, light: 70, cadence: 0, shadow: 35,
};

/** Chatter of the picture beside its matte, read finer than the matte's own (chatter.ts). */
const SEEN_CHATTER = 0.055;

/** An encoder's own noise in rough fur adds to the grain: more is forgiven than less. */
const SURE_MOST = 1.75;

/**
 * Least edge spread beside the plate's. The most follows from LIMITS.blur: a smooth coat or limb has soft edges of its own, and
 * true pictures read .36 to 1.78 (fourteen scenes, five bodies); blurred by 2 px they read 2.5 to 9.3, by 1.2 px 1.5 to 6.
 */
const LEAST_SPREAD = 0.3;

/** What each value must be, from the limits themselves. */
const NEEDED: Readonly<Record<InspectionMatterName, string>> = {
  slip: `at most ${LIMITS.slip} px`, spill: `at most ${LIMITS.spill} %`, edgeLightness: `0 ± ${LIMITS.edgeLightness} L*`, chatter: `at most ${LIMITS.chatter} of alpha`,
  grain: `${(1 - LIMITS.grain).toFixed(2)} to ${SURE_MOST} of the plate's`, blur: `${LEAST_SPREAD.toFixed(2)} to ${(1 / (1 - LIMITS.blur)).toFixed(2)} of the plate's`,
  blackLevel: `0 ± ${LIMITS.blackLevel} of the coded range`, whiteLevel: `at most ${LIMITS.whiteLevel} of the coded range`, colour: `at most ${LIMITS.colour} CIEDE2000`, light: `at most ${LIMITS.light}°`,
  cadence: 'no frame doubled, missing or out of step', shadow: `at most ${LIMITS.shadow}° aside, ${SHADOW_STOPS} stop lighter or darker`,
};

function mean(list: readonly Reading[]): number {
  return list.reduce((s, r) => s + r.value, 0) / list.length;
}

function worstBy(list: readonly Reading[], off: (v: number) => number): number {
  return list.reduce((w, r) => (off(r.value) > off(w.value) ? r : w)).frame;
}

/** Matters that fail, the farthest over its limit first. A frame doubled shakes everything else for a moment, a blur takes the grain along, and a wrong edge looks moved: they come before what follows from them. */
function ranked(over: ReadonlyMap<InspectionMatterName, number>, matters: readonly InspectionMatter[]): InspectionMatterName[] {
  const failed = matters.filter((m) => m.passes === false).map((m) => m.matter);
  const soft = (matters.find((m) => m.matter === 'blur')?.value ?? 0) > 1 && failed.includes('blur');
  const key = (m: InspectionMatterName): number => (m === 'cadence' ? 1e3 : m === 'grain' && soft ? 0.5 * over.get('blur')! : m === 'slip' && failed.includes('edgeLightness') ? Math.min(over.get('slip')!, 0.99 * over.get('edgeLightness')!) : over.get(m)!);
  return failed.sort((a, b) => key(b) - key(a));
}

/** Judges the readings of a whole shot. */
export function judge(series: Series, recipe: Recipe): Inspection {
  const matters: InspectionMatter[] = [], overs = new Map<InspectionMatterName, number>();
  const per = new Map<number, Partial<Record<InspectionMatterName, number>>>();
  for (const n of series.frames) per.set(n, {});
  for (const [name, list] of Object.entries(series.readings)) {
    if (!(name in LIMITS)) continue;
    for (const r of list ?? []) { const row = per.get(r.frame); if (row !== undefined) row[name as InspectionMatterName] = r.value; }
  }
  const add: Add = (matter, unit, step, value, worst, off, advice, reason, needed = NEEDED[matter], limit = LIMITS[matter]) => {
    overs.set(matter, limit > 0 ? off / limit : off);
    matters.push({ matter, value, unit, limit, needed, passes: value === null ? null : off <= limit, worstFrame: worst, step, advice, ...(reason === undefined ? {} : { reason }) });
  };
  slip(series, per, add);
  const simple = (matter: InspectionMatterName, unit: string, step: StepName, centre: number, advice: (v: number) => string, none: string, off: (v: number) => number = (v) => Math.abs(v - centre)): void => {
    const list = series.readings[matter] ?? [];
    if (list.length === 0) { add(matter, unit, step, null, null, 0, '', none); return; }
    const v = mean(list);
    add(matter, unit, step, v, worstBy(list, off), off(v), off(v) <= LIMITS[matter] ? '' : advice(v));
  };
  const screen = recipe.steps.find((s) => s.step === 'peel');
  const colour = screen?.step === 'peel' ? screen.screen : 'green';
  simple('spill', '%', 'peel', 0, (v) => `${v.toFixed(1)} % of ${colour} is left on the performer: raise the peel's spill, or mark with "keep" what is ${colour} by right`, 'too little of the outline is seen', (v) => Math.max(0, v));
  simple('edgeLightness', 'L*', 'peel', 0, (v) => (v < 0 ? `the outline is ${(-v).toFixed(1)} L* darker than the mixture it should be: peel again at fine quality, or draw the garbage matte closer` : `the outline is ${v.toFixed(1)} L* brighter than the mixture it should be: more spill removal, or less light wrap`), 'too little of the outline is seen');
  chatter(series, per, add);
  grain(series, add);
  simple('blur', 'ratio', 'air', 1, (v) => (v < 1 ? `the performer is sharper than the plate (${v.toFixed(2)} of its edge spread): soften it` : `the performer is softer than the plate (${v.toFixed(2)} times its edge spread): less softening, or a sharper take`), 'too few edges inside or outside', (v) => (v > 1 ? 1 - 1 / v : (LIMITS.blur * (1 - v)) / (1 - LEAST_SPREAD)));
  simple('blackLevel', 'coded', 'light', 0, (v) => (v > 0 ? `the performer's blacks are lifted ${(100 * v).toFixed(0)} % above the plate's: lower the light step's offset` : `the performer's blacks lie ${(-100 * v).toFixed(0)} % below the plate's: raise the light step's offset, or add haze`), 'the performer is too small');
  simple('whiteLevel', 'coded', 'light', 0, (v) => `the performer is ${(100 * v).toFixed(0)} % brighter than anything in the plate: lower the light step's slope`, 'the performer is too small', (v) => Math.max(0, v));
  simple('colour', 'CIEDE2000', 'light', 0, (v) => `the light on the performer and on the plate differ by ${v.toFixed(0)} in colour: change the light step's slope per channel`, 'the performer is too small');
  simple('light', 'deg', 'light', 0, (v) => `the performer looks lit from ${v.toFixed(0)}° aside of the plate's key: relight further, mirror the take, or shoot again`, 'the performer\'s shading shows no side', (v) => Math.abs(v));
  shadow(series, recipe, add);
  cadence(series, per, add);
  return { passes: matters.every((m) => m.passes !== false), found: ranked(overs, matters), matters, frames: series.frames.map((frame) => ({ frame, values: per.get(frame)! })) };
}

type Add = (matter: InspectionMatterName, unit: string, step: StepName, value: number | null, worst: number | null, off: number, advice: string, reason?: string, needed?: string, limit?: number) => void;
type Rows = Map<number, Partial<Record<InspectionMatterName, number>>>;

function aboutMedian(list: readonly Place[], free: number): Place[] {
  const mx = quantile(list.map((p) => p.x), 0.5), my = quantile(list.map((p) => p.y), 0.5);
  const k = Math.hypot(mx, my) > free ? 0 : 1;
  return list.map((p) => ({ frame: p.frame, x: p.x - k * mx, y: p.y - k * my }));
}

function rmsOf(list: readonly Reading[]): number {
  return Math.sqrt(list.reduce((s, r) => s + r.value * r.value, 0) / list.length);
}

function slip(series: Series, per: Rows, add: Add): void {
  const parts: { frame: number; value: number }[][] = [];
  const length = (list: readonly Place[], k = 1): Reading[] => list.map((p) => ({ frame: p.frame, value: k * Math.hypot(p.x, p.y) }));
  // Shading makes the picture's edge look a little off its matte, always the same way: only what changes is a slip, or what is more than a pixel.
  if (series.shift.length > 4) parts.push(length(aboutMedian(series.shift, 1.2)));
  if (series.against.length > 0) parts.push(length(series.against));
  // Ground that is lost now and then tells nothing of the whole way.
  let sound = false;
  if (series.slipPlan.length > 2 && series.followed.filter((v) => v).length >= 0.85 * series.followed.length) {
    const mx = series.slipPlan.reduce((s, p) => s + p.x, 0) / series.slipPlan.length, my = series.slipPlan.reduce((s, p) => s + p.y, 0) / series.slipPlan.length;
    const list = length(series.slipPlan.map((p) => ({ frame: p.frame, x: p.x - mx, y: p.y - my })));
    parts.push(list);
    sound = rmsOf(list) <= LIMITS.slip;
  }
  // The difference from the neighbours' mean has one and a half times a jitter's variance.
  if (series.jitter.length > 2) {
    const beside = length(series.jitter, 1 / Math.sqrt(1.5)), plain = length(series.jitter.map((p) => ({ frame: p.frame, x: p.plain[0], y: p.plain[1] })), 1 / Math.sqrt(1.5));
    // A picture that moves smoothly beside a plan that does not shows the plan's fault, not its own; where the ground proves the plan, the plan counts.
    parts.push(sound || rmsOf(beside) <= rmsOf(plain) ? beside : plain);
  }
  if (parts.length === 0) { add('slip', 'px', 'ride', null, null, 0, '', 'fewer than four frames, or nothing to follow'); return; }
  const rms = parts.map(rmsOf);
  const k = rms.indexOf(Math.max(...rms));
  for (const r of parts[k]!) { const row = per.get(r.frame); if (row !== undefined) row.slip = r.value; }
  const v = rms[k]!;
  add('slip', 'px', 'ride', v, worstBy(parts[k]!, (x) => x), v, v <= LIMITS.slip ? '' : `the performer slips by ${v.toFixed(2)} px rms on what it rides on: correct the ride on the worst frame, or mark the stand on more frames`);
}


/**
 * Grain that differs by less than this (sd of coded luma in the halved picture, two thirds of a step of an 8-bit picture) is not
 * seen, whatever the ratio: the program's own choice. A film file often holds less grain than that in its quiet parts.
 */
const UNSEEN = 0.0025;

/** Roughly read, fur only ever adds: less grain than the plate's is believed from half of that on. */
const UNSEEN_ROUGH = 0.0012;

/**
 * Rough readings may be off by fur that passes for grain: less is forgiven than of sure ones. What moves on by more than STEADY px a
 * frame an encoder smooths, less so the coat's rough parts: true pictures of the practice set read .7 to 1.3 but 2.1 in its pan.
 */
const ROUGH_LEAST = 0.5, ROUGH_MOST = 1.75, ROUGH_MOVING = 2.6, STEADY = 3;

function grain(series: Series, add: Add): void {
  const sure = series.readings.grain ?? [], rough = series.readings.roughGrain ?? [];
  const list = sure.length >= 2 ? sure : rough;
  if (list.length === 0) { add('grain', 'ratio', 'air', null, null, 0, '', 'too little flat picture inside or outside the performer'); return; }
  const v = quantile(list.map((r) => r.value), 0.5);
  const [low, high] = list === sure ? [1 - LIMITS.grain, SURE_MOST] : [ROUGH_LEAST, quantile(series.steps, 0.5) > STEADY ? ROUGH_MOVING : ROUGH_MOST];
  const outside = (list === sure ? series.readings.grainOutside : series.readings.roughOutside) ?? [];
  const unseen = outside.length > 0 && Math.abs(v - 1) * quantile(outside.map((r) => r.value), 0.5) < (list === sure || v > 1 ? UNSEEN : UNSEEN_ROUGH);
  const bad = !unseen && (v < low || v > high);
  add('grain', 'ratio', 'air', v, worstBy(list, (q) => Math.abs(Math.log2(Math.max(0.05, q)))), bad ? (LIMITS.grain * Math.log(Math.max(0.05, v))) / Math.log(v < 1 ? low : high) : 0,
    !bad ? '' : v < 1 ? `the performer has ${v.toFixed(2)} of the plate's grain: raise the air step's grain` : `the performer has ${v.toFixed(2)} times the plate's grain: lower the air step's grain, or soften the take's own first`,
    undefined, unseen ? 'too fine to be seen either way' : `${low.toFixed(2)} to ${high} of the plate's${list === sure ? '' : ', read roughly'}`);
}

/** The worse of the matte's own chatter and the picture's beside its matte, each against its limit. */
function chatter(series: Series, per: Rows, add: Add): void {
  const list = series.readings.chatter ?? [], seen = series.readings.seenChatter ?? [];
  if (list.length === 0 && seen.length === 0) { add('chatter', 'alpha', 'peel', null, null, 0, '', 'fewer than three frames'); return; }
  const matte = list.length === 0 ? 0 : mean(list), picture = seen.length === 0 ? 0 : mean(seen);
  const own = matte / LIMITS.chatter >= picture / SEEN_CHATTER;
  const [rows, v, limit] = own ? [list, matte, LIMITS.chatter] : [seen, picture, SEEN_CHATTER];
  if (!own) for (const r of rows) { const row = per.get(r.frame); if (row !== undefined) row.chatter = r.value; }
  add('chatter', 'alpha', 'peel', v, worstBy(rows, (q) => q), v, v <= limit ? '' : `the outline ${own ? '' : 'in the picture '}goes to and fro by ${v.toFixed(2)} of alpha from frame to frame: ${own ? 'peel at fine quality' : 'peel at fine quality and render again; the matte alone is calm'}`,
    undefined, own ? NEEDED.chatter : `at most ${SEEN_CHATTER} of alpha beside the matte`, limit);
}

/** Why no shadow was looked for; where the recipe lays none, that one may be missing. */
function noShadow(recipe: Recipe): string {
  const ground = recipe.steps.find((s) => s.step === 'ground');
  if (ground?.step !== 'ground' || !ground.on) return 'the recipe lays no shadow, its ground step is off or absent: look whether the plate throws shadows';
  if (!ground.shadow) return `the recipe lays no cast shadow (${ground.why}): look whether the plate throws shadows, for then one is missing here`;
  return 'no shadow is to be seen by rights: it falls behind the performer, out of the picture or on marked surfaces';
}

function shadow(series: Series, recipe: Recipe, add: Add): void {
  const list = series.readings.shadow ?? [], stops = series.readings.shadowStops ?? [];
  if (list.length === 0) { add('shadow', 'deg', 'ground', null, null, 0, '', noShadow(recipe)); return; }
  const v = quantile(list.map((r) => r.value), 0.5);
  const dark = stops.length === 0 ? 0 : quantile(stops.map((r) => r.value), 0.5);
  const wrong = v > LIMITS.shadow, far = Math.abs(dark) > SHADOW_STOPS;
  add('shadow', 'deg', 'ground', v, worstBy(list, (x) => x), wrong ? v : far ? (LIMITS.shadow * Math.abs(dark)) / SHADOW_STOPS : v,
    wrong ? (v >= 179 ? 'the performer throws no shadow where the plate\'s light asks for one: switch the ground step\'s shadow on' : `the performer's shadow lies ${v.toFixed(0)}° aside of where the plate's key throws it: correct the ground step's azimuth`)
      : far ? `the shadow is ${Math.abs(dark).toFixed(1)} stops ${dark > 0 ? 'lighter' : 'darker'} than the plate's own: change the ground step's transmission` : '');
}

/** Mean change of coded luma between frames (half a step of an 8-bit picture) under which an encoder's own leaving out of still parts passes for a doubled frame. */
const STILL = 0.002;

function cadence(series: Series, per: Rows, add: Add): void {
  if (series.change.length < 4) { add('cadence', 'frames', 'pace', null, null, 0, '', 'fewer than five frames'); return; }
  const faults: { frame: number; size: number; what: string }[] = [];
  const at = (i: number): Series['change'][number] | null => series.change[i] ?? null;
  series.change.forEach((c, i) => {
    const p = at(i - 1), q = at(i + 1);
    const plan = series.planned[i + 1] ?? 1;
    const around = [p, q].filter((v) => v !== null);
    if (around.length < 2) return;
    const least = (pick: (v: Series['change'][number]) => number | null): number => Math.min(...around.map((v) => pick(v) ?? NaN));
    const most = (pick: (v: Series['change'][number]) => number | null): number => Math.max(...around.map((v) => pick(v) ?? NaN));
    const plateHolds = c.plate < 0.5 * least((v) => v.plate);
    // What jumps outside as well is the camera's or the encoder's.
    const share = (v: Series['change'][number]): number | null => (v.inside === null ? null : v.inside / Math.max(STILL, v.outside));
    if (!plateHolds && least((v) => v.outside) > STILL && c.outside < 0.4 * least((v) => v.outside)) faults.push({ frame: c.frame, size: least((v) => v.outside) / Math.max(1e-6, c.outside), what: 'doubled' });
    else if (!plateHolds && c.inside !== null && least((v) => v.inside) > STILL && c.inside < 0.4 * least((v) => v.inside) && share(c)! < 0.5 * least(share) && plan > 0.3) faults.push({ frame: c.frame, size: least((v) => v.inside) / Math.max(1e-6, c.inside), what: 'doubled in the performer' });
    else if (c.inside !== null && c.inside > Math.max(STILL, 1.7 * most((v) => v.inside)) && share(c)! > 1.5 * most(share) && plan > 0.3 && plan < 1.6 && c.outside < 1.6 * most((v) => v.outside)) faults.push({ frame: c.frame, size: c.inside / most((v) => v.inside), what: 'missing before it' });
    const row = per.get(c.frame);
    if (row !== undefined) row.cadence = faults.some((f) => f.frame === c.frame) ? 1 : 0;
  });
  for (const o of series.outOfStep) {
    if (o.same > 0.004 && o.before < 0.6 * o.same && !faults.some((f) => f.frame === o.frame)) faults.push({ frame: o.frame, size: o.same / o.before, what: 'out of step with the plate' });
  }
  const worst = faults.length === 0 ? null : faults.reduce((w, f) => (f.size > w.size ? f : w));
  add('cadence', 'frames', 'pace', faults.length, worst?.frame ?? null, faults.length, worst === null ? '' : `frame ${worst.frame} is ${worst.what}${faults.length > 1 ? ` (and ${faults.length - 1} more)` : ''}: check the pace step's curve and render again`);
}
