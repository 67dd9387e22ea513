// One plane drawn towards another by a share (see src/image/blend-towards.ts). Twin: towardsPlain.

/** to += share (other − to), over n values. Items are runs of 1024. */
export function towards(dst: usize, other: usize, n: i32, share: f32, from: i32, to: i32, scratch: usize): void {
  const last = min(n, to << 10), s = f32x4.splat(share);
  let i = from << 10;
  for (; i + 4 <= last; i += 4) {
    const o = <usize>i << 2;
    const v = v128.load(dst + o);
    v128.store(dst + o, f32x4.add(v, f32x4.mul(s, f32x4.sub(v128.load(other + o), v))));
  }
  for (; i < last; i++) {
    const o = <usize>i << 2;
    const v = load<f32>(dst + o);
    store<f32>(dst + o, v + share * (load<f32>(other + o) - v));
  }
}
