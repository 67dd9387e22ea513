/**
 * Surfaces that a person marked for the shadow to fall on, carried over the plate's frames: walls and steps with the
 * set, a rounded body with whatever carries the performer. The light on each where the key lights it is read from the
 * plate.
 */
import type { Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { carryPoint, carryRegion, type Carrier } from '../ride/carrier.js';
import { otsu } from './plate-shadow.js';
import { marksOf, type MarkOf, type ProposalInput } from '../proposal-input.js';
import type { ReceiverFrame, ShadowReceiver } from './types.js';

type Marked = { readonly mark: MarkOf<'receiver'>; readonly frame: number };
const NAMES = { wall: 'a wall', step: 'a step', face: 'a rounded body' } as const;

/**
 * The receivers of a ground step and what is said of them ('' for none). `body` carries rounded bodies, `set` the rest.
 * Marks of one surface on one frame are different things; the k-th of each frame is one thing followed.
 */
export async function proposeReceivers(
  input: ProposalInput,
  body: Carrier,
  set: Carrier,
): Promise<{ receivers: ShadowReceiver[]; why: string }> {
  const things = new Map<string, Marked[]>();
  const seen = new Map<string, number>();
  for (const m of marksOf(input.plate.marks, 'receiver')) {
    const place = `${m.frame} ${m.mark.surface}`,
      k = seen.get(place) ?? 0;
    seen.set(place, k + 1);
    const name = `${m.mark.surface} ${k}`;
    things.set(name, [...(things.get(name) ?? []), m]);
  }
  if (things.size === 0) return { receivers: [], why: '' };
  if (input.plate.measures.view === undefined || input.plate.measures.view.tiltDeg.value === null)
    return { receivers: [], why: "the surfaces marked for the shadow are left out: the plate's view was not measured" };
  const receivers: ShadowReceiver[] = [];
  for (const list of things.values()) {
    const { mark, frame } = list[0]!;
    const lit = litSurface(await input.plate.linear(frame), mark.polygon);
    receivers.push({
      surface: mark.surface,
      ...(mark.height === undefined ? {} : { height: mark.height }),
      frames: carriedFrames(list, mark.surface === 'face' ? body : set, input.plate.measures.span),
      ...(lit === null ? {} : { litLinear: lit }),
    });
  }
  const named = receivers.map(({ surface, height = 0 }) =>
    surface === 'step' ? `${NAMES.step} of ${height.toFixed(2)} m` : NAMES[surface],
  );
  return { receivers, why: `it falls on ${named.join(', ')} where marked` };
}

/** Outline and foot line at every frame of the span; one entry where nothing moves. */
export function carriedFrames(
  list: readonly {
    readonly mark: {
      readonly polygon: [number, number][];
      readonly base?: readonly [readonly [number, number], readonly [number, number]] | undefined;
    };
    readonly frame: number;
  }[],
  carrier: Carrier,
  span: { readonly in: number; readonly out: number },
): ReceiverFrame[] {
  const outline = carryRegion({ frames: list.map((m) => ({ frame: m.frame, polygon: m.mark.polygon })) }, carrier);
  const based = list.filter((m) => m.mark.base !== undefined);
  const ends =
    based.length === 0
      ? null
      : ([0, 1] as const).map((k) =>
          carryPoint(
            based.map((m) => ({ frame: m.frame, point: m.mark.base![k] })),
            carrier,
          ),
        );
  const round = ([x, y]: readonly [number, number]): [number, number] => [
    Math.round(x * 100) / 100,
    Math.round(y * 100) / 100,
  ];
  const out: ReceiverFrame[] = [];
  for (let n = span.in; n < span.out; n++)
    out.push({
      frame: n,
      polygon: outline(n).map(round),
      ...(ends === null ? {} : { base: [round(ends[0]!(n)), round(ends[1]!(n))] as const }),
    });
  const same = (a: ReceiverFrame, b: ReceiverFrame): boolean =>
    JSON.stringify([a.polygon, a.base]) === JSON.stringify([b.polygon, b.base]);
  return out.length > 0 && out.every((f) => same(f, out[0]!)) ? [out[0]!] : out;
}

/** Median of the bright part of what an outline holds, per channel; null where too little of it is in the picture. */
export function litSurface(
  linear: Picture,
  polygon: readonly (readonly [number, number])[],
): [number, number, number] | null {
  const { width: w, height: h, data } = linear,
    n = w * h;
  const inside = rasterizePolygon(polygon, w, h);
  let count = 0;
  for (let i = 0; i < n; i++) if (inside[i]! > 0.9) count++;
  const every = Math.max(1, Math.floor(count / 4000));
  const index: number[] = [],
    logs: number[] = [];
  for (let i = 0, k = 0; i < n; i++) {
    if (inside[i]! <= 0.9 || k++ % every !== 0) continue;
    const l = 0.2126 * data[i]! + 0.7152 * data[n + i]! + 0.0722 * data[2 * n + i]!;
    if (l > 1e-4) {
      index.push(i);
      logs.push(Math.log2(l));
    }
  }
  if (index.length < 30) return null;
  const { threshold, gap } = otsu(logs);
  const kept = gap > 0.8 ? index.filter((_, k) => logs[k]! > threshold) : index;
  const middle = (c: number): number => {
    const v = kept.map((i) => data[c * n + i]!).sort((a, b) => a - b);
    return v[v.length >> 1]!;
  };
  return [middle(0), middle(1), middle(2)];
}
