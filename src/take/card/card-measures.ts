/**
 * What the floor card in a take says, in the forms that a take's measures have: a view,
 * and a light where its peg stood.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import { PlatewrightError } from '../../core/errors.js';
import type { Picture } from '../../image/picture.js';
import type { Light, View } from '../../plate/types.js';
import { readCard, type CardReading } from './read-card.js';

/** Reads the card in the frames given; null where it is in none. Other failures are the caller's. */
export async function cardOf(
  file: string,
  frames: readonly number[],
  focalPx: number | undefined,
): Promise<CardReading | null> {
  if (frames.length === 0) return null;
  try {
    return await readCard(file, { frames: [...frames], ...(focalPx === undefined ? {} : { focalPx }) });
  } catch (error) {
    if (error instanceof PlatewrightError && error.code === 'PW-CARD-NONE') return null;
    throw error;
  }
}

/**
 * Least share of the picture that white paper off the screen must hold for a search for the card to be worth its time.
 */
const LEAST_PAPER = 0.0015;

/**
 * Share of the picture that looks like paper: no screen, bright, without colour. A
 * card's cheap sign; a white animal has it too.
 * @param mask as from `notScreen`; null where no screen was found: then all of the picture counts
 */
export function paperShare(coded: Picture, mask: Uint8Array | null): number {
  const n = coded.width * coded.height;
  const d = coded.data;
  let k = 0;
  for (let i = 0; i < n; i++) {
    if (mask !== null && mask[i] === 0) continue;
    const r = d[i]!;
    const g = d[i + n]!;
    const b = d[i + 2 * n]!;
    const lo = Math.min(r, g, b);
    const hi = Math.max(r, g, b);
    if (lo > 0.4 && hi - lo < 0.16) k++;
  }
  return k / n;
}

/** The two frames with most paper, where there is enough of it. */
export function paperFrames(shares: readonly { frame: number; share: number }[]): number[] {
  return [...shares]
    .filter((s) => s.share >= LEAST_PAPER)
    .sort((a, b) => b.share - a.share || a.frame - b.frame)
    .slice(0, 2)
    .map((s) => s.frame);
}

/**
 * The card's pose as a view. Only its diagonal is known; leaving out that focal and
 * height move together makes it wider, not narrower.
 */
export function viewOfCard(card: CardReading, widthPx: number, heightPx: number): View {
  const p = card.pose;
  const frames: [number, number] = [card.frame, card.frame];
  const how = `the floor card, ${p.markers} fiducials`;
  const led = p.priorLed ? { priorLed: true, wouldHelp: 'a lower camera, or the lens itself' } : {};
  const variance = [
    (p.sd.focalPx / p.focalPx) ** 2,
    (p.sd.tiltDeg * RAD_PER_DEG) ** 2,
    (p.sd.rollDeg * RAD_PER_DEG) ** 2,
    (p.sd.cameraHeight / p.cameraHeight) ** 2,
  ];
  const covariance = new Array<number>(16).fill(0);
  variance.forEach((v, i) => {
    covariance[i * 5] = v;
  });
  return {
    frame: card.frame,
    widthPx,
    heightPx,
    focalPx: measured(p.focalPx, 'px', p.sd.focalPx, how, frames, led),
    tiltDeg: measured(p.tiltDeg, 'deg', p.sd.tiltDeg, how, frames),
    rollDeg: measured(p.rollDeg, 'deg', p.sd.rollDeg, how, frames),
    cameraHeight: measured(p.cameraHeight, 'm', p.sd.cameraHeight, how, frames, led),
    covariance,
    residualPx: p.residualPx,
    notes: ['the view comes from the floor card and holds while the camera stands where it stood then'],
  };
}

/**
 * How the take is exposed: the card's paper on the floor, brought to a surface that faces the key, against a
 * perfect white's 1 (a grey of 18 % shown at .18 is common practice, no source). Undefined where the card's greys
 * or its plain paper are out of sight or burnt out.
 * @param light the take's light; where its elevation or key-to-fill is not known the floor is taken to be
 * lit as the key's own face, within half a stop more
 */
export function exposureOfCard(card: CardReading, light: Light | null): Measure | undefined {
  const floor = card.white?.plainPaper ?? null;
  if (floor === null || !(floor > 1e-3)) return undefined;
  const e = light?.elevationDeg.value ?? null;
  const k = light?.keyFillStops.value ?? null;
  const known = e !== null && k !== null;
  const facing = known ? 2 ** k / (1 + (2 ** k - 1) * Math.max(0.1, Math.sin(e * RAD_PER_DEG))) : 1;
  return measured(
    Math.log2(floor * facing),
    'stop',
    known ? 0.25 : 0.5,
    `the card's white paper${known ? '' : ', its angle to the key not known'}`,
    [card.frame, card.frame],
  );
}

/**
 * The card's light: from the ball's shading, or from the peg's shadow and how dark it
 * is; colour from the greys. Null without either.
 */
export function lightOfCard(card: CardReading): Light | null {
  const frames: [number, number] = [card.frame, card.frame];
  const t = card.white?.temperatureK ?? null;
  const duv = card.white?.duv ?? null;
  const colour = {
    temperatureK:
      t === null
        ? notMeasurable('K', "the card's greys are out of sight")
        : measured(t, 'K', 0.03 * t, "the card's greys", frames),
    tintDuv:
      duv === null
        ? notMeasurable('1', "the card's greys are out of sight")
        : measured(duv, '1', 0.003, "the card's greys", frames),
  };
  const b = card.ball;
  if (b !== null) {
    const how = 'the shading and shadow of the ball on the card';
    return {
      azimuthDeg: measured(
        b.azimuthDeg,
        'deg',
        b.directionSd / Math.max(0.1, Math.cos(b.elevationDeg * RAD_PER_DEG)),
        how,
        frames,
      ),
      elevationDeg: measured(b.elevationDeg, 'deg', b.directionSd, how, frames),
      keyFillStops: measured(b.keyFillStops, 'stop', b.keyFillSd, how, frames),
      softnessDeg: notMeasurable(
        'deg',
        "a small ball's penumbra is not read",
        'a shadow of a long straight thing on plain ground',
      ),
      ...colour,
      overcast: b.keyFillStops < 0.3,
      notes: [],
    };
  }
  const s = card.sun;
  if (s === null) return null;
  const facing = Math.max(0.1, Math.sin(s.elevationDeg * RAD_PER_DEG));
  const ratio = 1 / Math.max(1e-3, s.transmission);
  return {
    azimuthDeg: measured(s.azimuthDeg, 'deg', s.sd.azimuthDeg, "the shadow of the card's peg", frames),
    elevationDeg: measured(s.elevationDeg, 'deg', s.sd.elevationDeg, "the shadow of the card's peg", frames),
    keyFillStops: measured(
      Math.log2(1 + (ratio - 1) / facing),
      'stop',
      0.25,
      'lit and shadowed paper of the card, brought to a surface that faces the key',
      frames,
    ),
    softnessDeg: notMeasurable(
      'deg',
      "a thin peg's penumbra is not read",
      'a shadow of a long straight thing on plain ground',
    ),
    ...colour,
    overcast: ratio < 1.2,
    notes: [],
  };
}
