/**
 * Who is seen where a carried performer and its carrier's head overlap: the demo's rabbit traced on a shoulder that
 * turns, seen from before, from behind, on the other side with the head turned, and farther out; against what
 * front-passing.ts says of each pixel. Needs `povray`. Run: `npx tsx bench/passing-order.ts CACHE`.
 */
import { mkdirSync } from 'node:fs';
import { project, windowOf } from '../demo/scenes/camera.js';
import { headOutline } from '../demo/scenes/head-outline.js';
import { conductor, ofPerson, SHOULDER_SEAT, type PersonPose } from '../demo/scenes/people.js';
import { RABBIT_HEIGHT, rabbit, rabbitDeclarations } from '../demo/scenes/rabbit.js';
import { GLOBAL, reachOf } from '../demo/scenes/shot.js';
import { conductorShot } from '../demo/scenes/street-shots.js';
import { trace, type Picture } from '../demo/scenes/trace.js';
import type { Vec3 } from '../demo/scenes/vector.js';
import { rasterizePolygon } from '../src/image/polygon.js';
import { passedCover } from '../src/join/front/front-passing.js';

interface Seat {
  readonly id: string;
  readonly at: Vec3;
  readonly headYaw: number;
  readonly yaws: readonly number[];
}

const SEATS: readonly Seat[] = [
  { id: 'before', at: SHOULDER_SEAT, headYaw: 0, yaws: [-30, -15, 0, 8, 16, 24, 36] },
  { id: 'behind', at: SHOULDER_SEAT, headYaw: 0, yaws: [150, 165, 180, 188, 196, 204, 216] },
  { id: 'other side', at: [-0.235, 1.505, 0], headYaw: 25, yaws: [40, 20, 0, -10, -20, -32] },
  { id: 'farther out', at: [0.3, 1.47, 0.03], headYaw: -20, yaws: [-20, 0, 12, 24, 36] },
];
const FLAT = `${GLOBAL}light_source{<0,50,-50> rgb 0.4 shadowless parallel point_at 0}\n`;

/** Sum of the channels' differences of a pixel. */
const apart = (a: Picture, b: Picture, i: number): number =>
  [0, 1, 2].reduce((s, k) => s + Math.abs(a.rgb[3 * i + k]! - b.rgb[3 * i + k]!), 0);

/** Pixels of the overlap, those in which the performer is seen, and those that are told wrongly. */
async function score(seat: Seat, yaw: number, cache: string): Promise<[both: number, seen: number, wrong: number]> {
  const man: PersonPose = { position: [-0.08, 0, 1.7], yaw, headYaw: seat.headYaw, headPitch: 0, armLift: 0.15 },
    camera = conductorShot.camera(0),
    at = ofPerson(man, seat.at),
    reach = [...reachOf(at, 0.25, RABBIT_HEIGHT + 0.07, [0, 1, 0]), ...reachOf(man.position, 0.46, 1.92, [0, 1, 0])],
    box = windowOf(camera, reach, 4);
  const still = { headYaw: 0, headPitch: 0, headRoll: 0, earLeft: 0, earRight: 0, breath: 0, paws: 0, blink: 0 },
    guest = (rabbitDeclarations() + rabbit({ ...still, position: at, yaw })).replaceAll(' reflection 0.04', '');
  const of = (text: string, back: number): Promise<Picture> =>
    trace(`${FLAT}background{rgb ${back}}\n${text}`, camera, box, { cache, scale: 1, kept: new Map() });
  const dark = await of(guest, 0),
    bright = await of(guest, 1),
    both = await of(conductor(man) + guest, 0),
    alone = await of(conductor(man), 0);
  const outline = headOutline(man, camera),
    thing = rasterizePolygon(
      outline.map(([x, y]) => [x - box.x, y - box.y] as const),
      box.w,
      box.h,
    ),
    matte = Float32Array.from(thing, (_, i) => Math.max(0, 1 - (bright.rgb[3 * i + 1]! - dark.rgb[3 * i + 1]!))),
    perMetre = project(camera, [at[0] + 1, at[1], at[2]])[0] - project(camera, at)[0],
    cover = thing.slice();
  passedCover(
    cover,
    outline,
    matte,
    [box.x, box.y, box.x + box.w, box.y + box.h],
    (man.position[2] - at[2]) * perMetre,
  );
  const sum: [number, number, number] = [0, 0, 0];
  for (let i = 0; i < thing.length; i++) {
    if (thing[i]! < 0.5 || matte[i]! < 0.5) continue;
    const performer = apart(both, dark, i) < apart(both, alone, i);
    sum[0]++;
    if (performer) sum[1]++;
    if (performer !== cover[i]! < 0.5) sum[2]++;
  }
  return sum;
}

const cache = process.argv[2];
if (cache === undefined) console.log('usage: npx tsx bench/passing-order.ts CACHE');
else {
  mkdirSync(cache, { recursive: true });
  const all = [0, 0];
  for (const seat of SEATS) {
    const sum = [0, 0];
    for (const yaw of seat.yaws) {
      const [both, seen, wrong] = await score(seat, yaw, cache);
      console.log(`  ${seat.id} ${yaw}: overlap ${both} px, performer seen ${(seen / Math.max(1, both)).toFixed(2)}`);
      for (const s of [sum, all]) {
        s[0]! += both;
        s[1]! += wrong;
      }
    }
    console.log(`${seat.id}: told wrongly ${((100 * sum[1]!) / sum[0]!).toFixed(1)} %`);
  }
  console.log(`all: told wrongly ${((100 * all[1]!) / all[0]!).toFixed(1)} %`);
}
