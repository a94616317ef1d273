/**
 * Reading QR codes in a picture; loaded, with its wasm that this site serves, when somebody scans.
 *
 * @module
 */
import { BarcodeDetector, prepareZXingModule } from "barcode-detector/ponyfill";

/**
 * Return a reader of QR codes. The same on every phone: some have one of their own, which may
 * have to be fetched first, and there is no signal here.
 *
 * @param {string} [wasmAddress] where this site serves the reader
 * @returns {BarcodeDetector}
 */
export function makeDetector(wasmAddress = document.documentElement.dataset.wasm ?? "") {
  prepareZXingModule({ overrides: { locateFile: () => wasmAddress } });
  return new BarcodeDetector({ formats: ["qr_code"] });
}
