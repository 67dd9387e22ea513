/**
 * The primaries that a still's colour profile is made of: ICC.1:2022 (v4) and v2 alike, three colourants
 * (`rXYZ`, `gXYZ`, `bXYZ`) over D50. Where profiles stand: JPEG APP2 (ICC.1 annex B), PNG iCCP (third edition, 11.3.2.3),
 * WebP ICCP. (All from memory; held by a test against profiles and pictures that libvips writes.) Curves are not read:
 * a profile of these primaries is taken to be of sRGB's kind.
 */
import { inflateSync } from 'node:zlib';

/** Primaries by H.273 code, and their colourants over D50 by Bradford's adaptation: red, green, blue, each X, Y, Z. */
const KNOWN: readonly (readonly [1 | 9 | 12, readonly number[]])[] = [
  [1, [0.4361, 0.2225, 0.0139, 0.3851, 0.7169, 0.0971, 0.1431, 0.0606, 0.7141]],
  [9, [0.6734, 0.279, -0.0019, 0.1656, 0.6754, 0.03, 0.1251, 0.0456, 0.7969]],
  [12, [0.5151, 0.2412, -0.0011, 0.292, 0.6922, 0.0419, 0.1571, 0.0666, 0.7841]],
];
/** Profiles round and adapt a little otherwise. */
const NEAR = 0.006;

/** Larger profiles are of printers and the like. */
export const MOST_PROFILE_BYTES = 1 << 16;

/**
 * H.273 code of the primaries of a profile: 1 (BT.709), 9 (BT.2020), 12 (Display P3); null for others, for profiles
 * without colourants and for bytes that are none.
 */
export function primariesOfProfile(profile: Buffer): 1 | 9 | 12 | null {
  if (profile.length < 132 || profile.toString('latin1', 36, 40) !== 'acsp') return null;
  const colourants = ['rXYZ', 'gXYZ', 'bXYZ'].map((name) => colourantOf(profile, name));
  const values = colourants.flatMap((c) => c ?? []);
  if (values.length !== 9) return null;
  return KNOWN.find(([, is]) => is.every((v, i) => Math.abs(v - values[i]!) < NEAR))?.[0] ?? null;
}

/** X, Y, Z of a tag of type `XYZ `. */
function colourantOf(profile: Buffer, name: string): number[] | null {
  const count = Math.min(profile.readUInt32BE(128), 100);
  for (let at = 132; at + 12 <= Math.min(profile.length, 132 + 12 * count); at += 12) {
    if (profile.toString('latin1', at, at + 4) !== name) continue;
    const from = profile.readUInt32BE(at + 4);
    if (from + 20 > profile.length || profile.toString('latin1', from, from + 4) !== 'XYZ ') return null;
    // Numbers of sixteen bits before the point and sixteen after it.
    return [8, 12, 16].map((o) => profile.readInt32BE(from + o) / 65536);
  }
  return null;
}

/** The profile in a PNG's iCCP chunk: a name, a zero, the method 0, and the deflated profile. Null where damaged. */
export function profileOfChunk(content: Buffer): Buffer | null {
  const end = content.indexOf(0);
  if (end < 0 || content[end + 1] !== 0) return null;
  try {
    return inflateSync(content.subarray(end + 2), { maxOutputLength: MOST_PROFILE_BYTES });
  } catch {
    return null;
  }
}
