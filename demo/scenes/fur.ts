// Fur as one mesh of narrow triangles a body part. Every blade carries the body's normal, not its own,
// so that the coat shades softly like plush; blades cast no shadow, the body under them does.

import type { Random } from './random.js';
import { add, cross, dot, mul, sub, unit, type Vec3 } from './vector.js';

/** An ellipsoid with its axes along the part's own axes. */
export interface Ellipsoid {
  readonly c: Vec3;
  readonly r: Vec3;
}

export interface FurPatch {
  readonly on: Ellipsoid;
  readonly blades: number;
  readonly lengthM: number;
  /** Where the hair lies towards; it is projected onto the skin. */
  readonly comb: (p: Vec3, normal: Vec3) => Vec3;
  /** 0 lies flat, 1 stands up. */
  readonly lift?: number;
  readonly widthM?: number;
}

/** True where a point is well inside an ellipsoid grown by `grow` metres. */
export function inside(p: Vec3, e: Ellipsoid, grow = 0): boolean {
  const d = sub(p, e.c);
  return (d[0] / (e.r[0] + grow)) ** 2 + (d[1] / (e.r[1] + grow)) ** 2 + (d[2] / (e.r[2] + grow)) ** 2 < 1;
}

/** A uniform point on an ellipsoid's surface (by rejection on the area element) and its normal. */
function onSurface(e: Ellipsoid, r: Random): { p: Vec3; normal: Vec3 } {
  const least = Math.min(...e.r);
  for (;;) {
    const z = 2 * r() - 1;
    const a = 2 * Math.PI * r();
    const s = Math.sqrt(1 - z * z);
    const u: Vec3 = [s * Math.cos(a), s * Math.sin(a), z];
    const g: Vec3 = [u[0] / e.r[0], u[1] / e.r[1], u[2] / e.r[2]];
    if (r() > Math.sqrt(dot(g, g)) * least) continue;
    return { p: add(e.c, [u[0] * e.r[0], u[1] * e.r[1], u[2] * e.r[2]]), normal: unit(g) };
  }
}

/**
 * Mesh text (`mesh2`) of the patches. `tint` gives the index of a declared texture for a root point, or −1 for none;
 * `hidden` says where no hair grows (inside another part of the body).
 */
export function furMesh(
  patches: readonly FurPatch[],
  r: Random,
  tint: (p: Vec3, normal: Vec3, r: Random) => number,
  hidden: (p: Vec3, own: Ellipsoid) => boolean,
  textures: readonly string[],
): string {
  const points: string[] = [];
  const normals: string[] = [];
  const faces: string[] = [];
  const used: string[] = [];
  const f = (p: Vec3): string => `<${p[0].toFixed(4)},${p[1].toFixed(4)},${p[2].toFixed(4)}>`;
  let count = 0;
  for (const patch of patches) {
    for (let i = 0; i < patch.blades; i++) {
      const { p, normal } = onSurface(patch.on, r);
      if (hidden(p, patch.on)) continue;
      const t = tint(p, normal, r);
      if (t < 0) continue;
      const wish = patch.comb(p, normal);
      const flat = sub(wish, mul(normal, dot(wish, normal)));
      const lift = patch.lift ?? 0.5;
      const jitter: Vec3 = [r() - 0.5, r() - 0.5, r() - 0.5];
      const dir = unit(add(add(mul(unit(flat), 1 - lift), mul(normal, lift)), mul(jitter, 0.55)));
      const side0 = unit(cross(dir, normal));
      const swing = (r() - 0.5) * 2.2;
      const side = unit(add(mul(side0, Math.cos(swing)), mul(cross(dir, side0), Math.sin(swing))));
      const length = patch.lengthM * (0.6 + 0.7 * r());
      const half = (patch.widthM ?? 0.0034) * (0.7 + 0.6 * r()) * 0.5;
      const root = sub(p, mul(normal, 0.003));
      const tip = add(add(root, mul(dir, length)), [0, -length * 0.12, 0]);
      points.push(f(add(root, mul(side, half))), f(sub(root, mul(side, half))), f(tip));
      normals.push(f(unit(add(normal, mul(dir, 0.25)))));
      faces.push(`<${3 * count},${3 * count + 1},${3 * count + 2}>,${t}`);
      used.push(`<${count},${count},${count}>`);
      count += 1;
    }
  }
  return (
    `mesh2 { vertex_vectors { ${points.length}, ${points.join(',')} }\n` +
    `normal_vectors { ${count}, ${normals.join(',')} }\n` +
    `texture_list { ${textures.length}, ${textures.map((x) => `texture{${x}}`).join(',')} }\n` +
    `face_indices { ${count}, ${faces.join(',')} }\nnormal_indices { ${count}, ${used.join(',')} } no_shadow }\n`
  );
}
