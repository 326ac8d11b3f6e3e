// Binary frames from the server: uint32 length, JSON padded to four bytes, float32 arrays back to back.

const DECODER = new TextDecoder();

/** Decode one frame. Returns its JSON with `arrays` replaced by {name: {data: Float32Array, shape: [...]}}. */
export function decode(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(DECODER.decode(new Uint8Array(buffer, 4, length)));
  const arrays = {};
  let offset = 4 + length;
  for (const { name, shape } of head.arrays ?? []) {
    const count = shape.reduce((product, n) => product * n, 1);
    arrays[name] = { data: new Float32Array(buffer, offset, count), shape };
    offset += 4 * count;
  }
  if (offset > buffer.byteLength)
    throw new RangeError(`frame ${head.kind}: ${offset} bytes announced, ${buffer.byteLength} came`);
  return { ...head, arrays };
}
