/**
 * Reads QR codes in grey pictures of 640 × 480 with the decoder of the field app, from files and
 * into a file, for a test in Python: `node read_codes.mjs out.json one.gray two.gray`.
 */
import { readFileSync, writeFileSync } from "node:fs";
import { prepareZXingModule, readBarcodes } from "zxing-wasm/reader";

const WIDTH = 640;
const HEIGHT = 480;

prepareZXingModule({
  overrides: {
    wasmBinary: readFileSync("node_modules/zxing-wasm/dist/reader/zxing_reader.wasm").buffer,
  },
});

const [out, ...files] = process.argv.slice(2);
const read = [];
for (const file of files) {
  const grey = readFileSync(file);
  const data = new Uint8ClampedArray(WIDTH * HEIGHT * 4);
  grey.forEach((level, at) => data.set([level, level, level, 255], at * 4));
  const found = await readBarcodes({ data, width: WIDTH, height: HEIGHT, colorSpace: "srgb" }, {
    formats: ["QRCode"],
  });
  read.push(found[0]?.text ?? "");
}
writeFileSync(out, JSON.stringify(read));
