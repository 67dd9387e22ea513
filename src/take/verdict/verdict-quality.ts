/**
 * What the take's own picture must offer: screen, spill, clipping, focus, motion blur,
 * the performer whole in frame, eyeline.
 */
import { differenceDeg } from '../../core/angles.js';
import type { Measure } from '../../core/measure.js';
import type { TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';
import type { BestSpan } from '../span.js';
import type { Tolerance, Tolerances } from './tolerances.js';
import type { Matter, MatterName } from '../types.js';
import { grade, tooUnsure, unjudged } from './verdict-words.js';

/** Those matters, over the take's best span where they change with time. */
export function qualityMatters(needs: PlateNeeds, take: TakeMeasures, t: Tolerances, span: BestSpan): Matter[] {
  const out: Matter[] = [];
  if (take.behind.kind === 'none') {
    const why = 'no green or blue screen was found behind the performer';
    out.push(
      unjudged(
        'screenEvenness',
        'stop',
        t.screenEvenness.fits,
        why,
        'a take before a screen; or name a frame of the empty set or outline the performer, and no screen is needed',
      ),
    );
  } else if (take.behind.kind === 'screen') {
    out.push(
      plain(
        'screenEvenness',
        take.evennessStops,
        'stop',
        t.screenEvenness,
        'the screen is even enough',
        'light the screen more evenly: move its lamps further off, or shade the sunlit part',
      ),
    );
    out.push(
      plain(
        'spill',
        take.spill,
        'ratio',
        t.spill,
        'little screen colour on the performer',
        'bring the performer a body length further from the screen, or light the screen less',
      ),
    );
  }
  const exposed = exposure(take, t);
  if (exposed !== null) out.push(exposed);
  if (take.behind.kind !== 'alpha')
    out.push(
      plain(
        'clipping',
        take.clipped,
        'ratio',
        t.clipping,
        'nothing burnt out',
        "close the lens by half a stop to a stop: the performer's brightest parts are burnt out",
      ),
    );
  out.push(focus(needs, take, t));
  out.push(blur(needs, take, t));
  out.push(inFrame(take, t, span));
  const eye = eyeline(needs, take, t),
    broken = damage(take, t, span);
  if (eye !== null) out.push(eye);
  if (broken !== null) out.push(broken);
  return out;
}

/** A measure that should be small. */
function plain(matter: MatterName, m: Measure, unit: string, t: Tolerance, good: string, bad: string): Matter {
  if (m.value === null) return unjudged(matter, unit, t.fits, m.reason ?? '', m.wouldHelp ?? '');
  const verdict = grade(m.value, t);
  return {
    matter,
    measured: m.value,
    sd: m.sd,
    needed: t.fits,
    unit,
    verdict,
    tolerance: t,
    change: verdict === 'fits' ? good : bad,
  };
}

/** How far the take's exposure lies from the usual one, by the card's white; null where no card was read. */
function exposure(take: TakeMeasures, t: Tolerances): Matter | null {
  const m = take.light.exposureStops;
  if (m === undefined || m.value === null) return null;
  const off = Math.abs(m.value);
  const stops = `${off.toFixed(1)} stops`;
  if (tooUnsure(off, m.sd ?? 0, t.exposure))
    return unjudged(
      'exposure',
      'stop',
      0,
      `it is only known within ${(m.sd ?? 0).toFixed(1)} stops`,
      "the card with its peg or ball, flat at the performer's mark",
      { measured: m.value, sd: m.sd ?? 0 },
    );
  const verdict = grade(off, t.exposure);
  return {
    matter: 'exposure',
    measured: m.value,
    sd: m.sd,
    needed: 0,
    unit: 'stop',
    verdict,
    tolerance: t.exposure,
    change:
      verdict === 'fits'
        ? 'exposed as usual'
        : m.value < 0
          ? `open the lens, lengthen the shutter or add light by ${stops}; ` +
            "the join can raise it, and the take's noise with it"
          : `close the lens or take light away by ${stops}: what is burnt out stays so`,
  };
}

/** Plate pixels to a take pixel. */
function scale(needs: PlateNeeds, take: TakeMeasures): number | null {
  return needs.performerHeightPx.value !== null && take.performerHeightPx.value !== null
    ? needs.performerHeightPx.value / take.performerHeightPx.value
    : null;
}

function focus(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  return asSoftAs(needs, take, {
    matter: 'focus',
    measured: take.sharpness,
    // Without a measured look, a plate is taken to be as sharp as pictures mostly are.
    needed: needs.sigmaPx ?? 0.9,
    tolerance: t.focus,
    fits: 'sharp enough for the plate',
    otherwise: 'focus on the eyes and lock it; close the lens a stop or add light',
  });
}

function blur(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  return asSoftAs(needs, take, {
    matter: 'blur',
    measured: take.motionBlur,
    needed: needs.motionBlurPx ?? 0,
    tolerance: t.blur,
    fits: 'no more blur than the plate has',
    otherwise: 'a shorter shutter (half the time), and more light for it',
  });
}

/** A softness of the take, brought to the plate's scale: no more than the plate's own counts as fitting. */
interface Softness {
  readonly matter: MatterName;
  /** In pixels of the take. */
  readonly measured: Measure;
  /** In pixels of the plate. */
  readonly needed: number;
  readonly tolerance: Tolerance;
  readonly fits: string;
  readonly otherwise: string;
}

function asSoftAs(needs: PlateNeeds, take: TakeMeasures, s: Softness): Matter {
  const { matter, measured, needed, tolerance } = s;
  if (measured.value === null) return unjudged(matter, 'px', needed, measured.reason ?? '', measured.wouldHelp ?? '');
  const perTakePx = scale(needs, take) ?? 1;
  const value = measured.value * perTakePx;
  const verdict = grade(Math.max(0, value - needed), tolerance);
  const sd = (measured.sd ?? 0) * perTakePx;
  const change = verdict === 'fits' ? s.fits : s.otherwise;
  return { matter, measured: value, sd, needed, unit: 'px', verdict, tolerance, change };
}

function inFrame(take: TakeMeasures, t: Tolerances, span: BestSpan): Matter {
  if (take.behind.kind === 'none')
    return unjudged(
      'inFrame',
      'ratio',
      0,
      "the performer can't be told from what is behind it",
      'a screen, a frame of the empty set, or an outline round the performer',
    );
  const verdict = grade(span.cutShare, t.inFrame);
  const names: Record<string, string> = {
    bottom: 'feet are cut off at the bottom',
    top: 'ears or head are cut off at the top',
    left: 'the left side is cut off',
    right: 'the right side is cut off',
    screen: "the performer reaches beyond the screen's edge",
  };
  const how = span.edges.map((e) => names[e] ?? e).join('; ');
  const of = `of ${take.frames.length} frames looked at`;
  const lost = take.frames.filter((f) => f.box === null).length - span.emptySet;
  const tail =
    (lost > 0 ? `; in ${lost} ${of} no performer is ${take.behind.kind === 'screen' ? 'on the screen' : 'seen'}` : '') +
    (span.emptySet > 0 ? `; ${span.emptySet} ${of} show the empty set, at the start or the end` : '');
  return {
    matter: 'inFrame',
    measured: span.cutShare,
    sd: 0,
    needed: 0,
    unit: 'ratio',
    verdict,
    tolerance: t.inFrame,
    change:
      verdict === 'fits'
        ? `whole in the picture${tail}`
        : `${how || 'the performer leaves the picture'}${tail}: ` +
          'frame wider, or bring the performer to the middle' +
          (take.behind.kind === 'screen' ? ' of the screen' : '') +
          (span.edges.some((e) => e === 'left' || e === 'right')
            ? '; arms may be cut there where the cut comes to lie outside the film: ' +
              'mark their place in the plate nearer its side, or film more of the arm'
            : ''),
  };
}

function eyeline(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter | null {
  if (needs.eyelineDeg === null) return null;
  const m = take.eyelineDeg;
  if (m.value === null) return unjudged('eyeline', 'deg', needs.eyelineDeg, m.reason ?? '', m.wouldHelp ?? '');
  const d = differenceDeg(m.value, needs.eyelineDeg);
  const verdict = grade(Math.abs(d), t.eyeline);
  return {
    matter: 'eyeline',
    measured: m.value,
    sd: m.sd,
    needed: needs.eyelineDeg,
    unit: 'deg',
    verdict,
    tolerance: t.eyeline,
    change:
      verdict === 'fits'
        ? 'the eyes look the right way'
        : `hold the treat ${Math.abs(d).toFixed(0)}° ${d > 0 ? 'clockwise from' : 'counter-clockwise from'} where ` +
          'it was, as the camera sees it',
  };
}

/** Frames of the span that the file shows broken; null where the whole file is sound. */
function damage(take: TakeMeasures, t: Tolerances, span: BestSpan): Matter | null {
  const all = take.damaged ?? [];
  if (all.length === 0) return null;
  const here = all.filter((n) => n >= span.in && n < span.out),
    share = here.length / Math.max(1, span.out - span.in),
    verdict = grade(share, t.damage),
    many = `${here.length} of the ${span.out - span.in} frames used ${here.length === 1 ? 'is' : 'are'} damaged`;
  return {
    matter: 'damage',
    measured: share,
    sd: 0,
    needed: 0,
    unit: 'ratio',
    verdict,
    tolerance: t.damage,
    change:
      here.length === 0
        ? `${all.length === 1 ? 'the one damaged frame lies' : `the ${all.length} damaged frames lie`} outside the ` +
          'best stretch'
        : `${many} in the file (the first is frame ${here[0]}), and the join shows them so: copy the take again from ` +
          'the camera; where it is damaged there too, shoot again',
  };
}
