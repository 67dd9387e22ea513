/**
 * Which of the matters that fail is named first: the farthest over its limit, what brings others with it before those.
 */
import { NO_SLIP } from './judge/cadence.js';
import type { InspectionMatter, InspectionMatterName } from './types.js';

/**
 * What brings other matters with it, in the order in which it is looked for: a matter of the second list is named after
 * the first.
 */
const BRINGS: readonly (readonly [InspectionMatterName, readonly InspectionMatterName[]])[] = [
  ['comb', ['outside', 'blur', 'grain', 'slip', 'flicker', 'edgeHardness', 'chatter', 'shadow', 'cadence']],
  ['outside', ['exposure', 'blackLevel', 'whiteLevel', 'colour', 'shadow', 'grain', 'contact']],
  ['edgeHardness', ['contact']],
  [
    'solid',
    ['contact', 'blackLevel', 'whiteLevel', 'exposure', 'colour', 'edgeHardness', 'blur', 'grain', 'edgeLightness'],
  ],
  ['spill', ['colour', 'exposure', 'edgeHardness', 'edgeLightness']],
  ['edgeLightness', ['slip', 'edgeHardness', 'size']],
  ['blur', ['edgeHardness', 'blackLevel', 'whiteLevel', 'exposure', 'colour']],
  ['exposure', ['edgeHardness', 'edgeLightness', 'colour', 'blur', 'grain', 'contact']],
  ['size', ['slip', 'shadow', 'contact', 'edgeHardness', 'edgeLightness']],
  ['slip', ['chatter', 'flicker']],
  ['shadow', ['contact']],
  ['colour', ['contact', 'edgeLightness']],
];

/** What a veil brings. */
const BY_VEIL: readonly InspectionMatterName[] = [
  'exposure',
  'whiteLevel',
  'colour',
  'blur',
  'edgeHardness',
  'edgeLightness',
];

/** How far over its limit a slip is that no single frame standing still makes. */
const LEAPS = 1.5;

/** Just after, and well after, the matter that brings it. */
const AFTER = 0.99,
  FAR_AFTER = 0.5;

/**
 * Matters that fail, the farthest over its limit (`over`) first. A frame doubled shakes everything else for a moment, a
 * blur takes the grain along and doubled grain the sharpness, a veil brightens, and a wrong edge looks moved: they come
 * before what follows from them.
 */
export function ranked(
  over: ReadonlyMap<InspectionMatterName, number>,
  matters: readonly InspectionMatter[],
): InspectionMatterName[] {
  const failed = matters.filter((m) => m.passes === false).map((m) => m.matter),
    value = (m: InspectionMatterName): number => matters.find((q) => q.matter === m)?.value ?? 0,
    keys = new Map(failed.map((m) => [m, over.get(m)!]));
  if (keys.has('cadence')) keys.set('cadence', cadenceKey(over, failed));
  const byMotion = matters.some((m) => m.matter === 'blur' && m.step === 'ride'),
    soft = failed.includes('blur') && (value('blur') > 1 || byMotion),
    rough = failed.includes('grain') && value('grain') > 1 && !soft;
  if (rough && keys.has('blur')) keys.set('blur', AFTER * Math.min(over.get('blur')!, over.get('grain')!));
  if (soft && keys.has('grain')) keys.set('grain', FAR_AFTER * over.get('blur')!);
  const after = (first: InspectionMatterName, then: readonly InspectionMatterName[]): void => {
    const k = keys.get(first);
    if (k !== undefined) for (const m of then) if (keys.has(m)) keys.set(m, Math.min(keys.get(m)!, AFTER * k));
  };
  if (value('blackLevel') > 0) after('blackLevel', BY_VEIL);
  for (const [first, then] of BRINGS) after(first, then);
  return failed.sort((a, b) => keys.get(b)! - keys.get(a)!);
}

/** A wrong cadence comes first, unless the performer slips and the cadence may be the slip's doing. */
function cadenceKey(over: ReadonlyMap<InspectionMatterName, number>, failed: readonly InspectionMatterName[]): number {
  const cadence = over.get('cadence')!,
    slip = over.get('slip')!;
  return failed.includes('slip') && cadence < NO_SLIP && (cadence !== 1 || slip > LEAPS) ? AFTER * slip : NO_SLIP;
}
