// Four-connected parts of a mask by union-find over rows (Rosenfeld and Pfaltz 1966), sequential. Held to
// connectedComponents (src/image/components.ts) by the test of labelAreas.

// @ts-ignore: decorator
@inline
function root(parent: usize, l: i32): i32 {
  let a = l;
  let up = load<i32>(parent + (<usize>a << 2));
  while (up != a) {
    a = up;
    up = load<i32>(parent + (<usize>a << 2));
  }
  return a;
}

/**
 * labels: 0 off the mask, not consecutive. parent, area: an entry a label, ((w + 1) /
 * 2) · h + 1 at the most; area[0] is how many.
 */
export function labelParts(
  mask: usize, w: i32, h: i32, labels: usize, parent: usize, area: usize, from: i32, to: i32, scratch: usize,
): void {
  let count = 1;
  store<i32>(parent, 0);
  for (let y = 0; y < h; y++) {
    let left = 0;
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      const p = labels + (<usize>i << 2);
      if (load<u8>(mask + <usize>i) == 0) {
        store<i32>(p, 0);
        left = 0;
        continue;
      }
      const above = y > 0 ? load<i32>(p - (<usize>w << 2)) : 0;
      let l = left;
      if (left == 0) {
        l = above;
        if (above == 0) {
          l = count;
          store<i32>(parent + (<usize>count << 2), count);
          count++;
        }
      } else if (above != 0 && above != left) {
        const a = root(parent, left), b = root(parent, above);
        l = min(a, b);
        store<i32>(parent + (<usize>a << 2), l);
        store<i32>(parent + (<usize>b << 2), l);
        store<i32>(parent + (<usize>left << 2), l);
        store<i32>(parent + (<usize>above << 2), l);
      }
      store<i32>(p, l);
      left = l;
    }
  }
  // A parent never has the larger number, so one pass upwards flattens the trees.
  for (let l = 1; l < count; l++) {
    const p = parent + (<usize>l << 2);
    store<i32>(p, load<i32>(parent + (<usize>load<i32>(p) << 2)));
    store<i32>(area + (<usize>l << 2), 0);
  }
  const n = w * h;
  for (let i = 0; i < n; i++) {
    const p = labels + (<usize>i << 2);
    const own = load<i32>(p);
    if (own == 0) continue;
    const l = load<i32>(parent + (<usize>own << 2));
    store<i32>(p, l);
    const a = area + (<usize>l << 2);
    store<i32>(a, load<i32>(a) + 1);
  }
  store<i32>(area, count);
}
