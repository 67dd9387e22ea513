/**
 * A followed region as what carries a performer. The region's homography holds for its own plane; a performer stands
 * beside or before it, and where the surface turns away or is followed badly the homography throws what lies outside
 * the region far off (a head by 900 px on a man who turns his back). There the similarity that fits the region's four
 * corners best carries it (least squares: S. Umeyama, IEEE PAMI 13(4), 1991, in the plane): place, turn and size, no
 * perspective.
 */
import { IDENTITY, rideCarrier, type Carrier } from './carrier.js';
import { carryStand, type Stand } from './ride.js';
import type { Mat3 } from '../../geometry/mat3.js';
import type { RideTrack } from '../../plate/types.js';

/** ln of how far the upright's length by the homography may leave that by the similarity (own choice). */
const BENT = Math.log(1.25);
/** Confidence from which a frame counts as surely followed, and the share of frames below which a person is told. */
const SURE = 0.3,
  MOST = 0.7;

/**
 * The carrier of an upright by a followed region: its homography, or its similarity where that would bend the upright.
 */
export function uprightRide(track: RideTrack, stands: readonly Stand[]): Carrier {
  const whole = rideCarrier(track),
    plain = similarCarrier(track);
  const length = (s: { readonly ground: readonly [number, number]; readonly top: readonly [number, number] }): number =>
    Math.log(Math.max(1e-3, Math.hypot(s.top[0] - s.ground[0], s.top[1] - s.ground[1])));
  const bent =
    stands.length > 0 &&
    track.frames.some((f) => {
      const a = carryStand(stands, whole)(f.frame),
        b = carryStand(stands, plain)(f.frame);
      return !(Math.abs(length(a) - length(b)) <= BENT);
    });
  return bent ? plain : whole;
}

/** What is to be said of a region that is surely followed on few frames and marked on few; '' where nothing is. */
export function unsureRide(track: RideTrack, stands: readonly Stand[]): string {
  const sure = track.frames.filter((f) => f.visible && f.confidence >= SURE).length,
    all = track.frames.length;
  if (sure >= MOST * all || new Set(stands.map((s) => s.frame)).size >= Math.max(3, all / 12)) return '';
  return (
    `; that region is surely followed on ${sure} of ${all} frames only (it turns away, or hardly shows): ` +
    'mark where the performer goes on further frames, every ten or so'
  );
}

/** As `rideCarrier`, by the best similarity of the region's corners. */
export function similarCarrier(track: RideTrack): Carrier {
  const home = track.frames.find((f) => f.frame === track.atFrame);
  if (home === undefined) return { at: () => IDENTITY };
  const from = home.corners,
    centre = middle(from);
  const seen = track.frames.filter((f) => f.visible),
    made = new Map<number, Mat3>();
  for (const f of seen) {
    const to = middle(f.corners);
    let along = 0,
      across = 0,
      size = 1e-12;
    from.forEach(([x, y], i) => {
      const u = x - centre[0],
        v = y - centre[1],
        p = f.corners[i]![0] - to[0],
        q = f.corners[i]![1] - to[1];
      along += u * p + v * q;
      across += u * q - v * p;
      size += u * u + v * v;
    });
    const c = along / size,
      s = across / size;
    made.set(f.frame, [
      c,
      -s,
      to[0] - c * centre[0] + s * centre[1],
      s,
      c,
      to[1] - s * centre[0] - c * centre[1],
      0,
      0,
      1,
    ]);
  }
  return {
    at: (n) => {
      let best = seen[0];
      for (const f of seen) if (best === undefined || Math.abs(f.frame - n) < Math.abs(best.frame - n)) best = f;
      return best === undefined ? IDENTITY : made.get(best.frame)!;
    },
  };
}

function middle(corners: readonly (readonly [number, number])[]): [number, number] {
  return [
    corners.reduce((s, p) => s + p[0], 0) / corners.length,
    corners.reduce((s, p) => s + p[1], 0) / corners.length,
  ];
}
