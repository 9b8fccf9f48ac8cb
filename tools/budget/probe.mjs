// Runs probe.py under MicroPython's WebAssembly build, 32 bits as the board has:
//     node probe.mjs MICROPYTHON FIRMWARE PROBE
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [micropython, firmware, probe] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(micropython));
const mp = await loadMicroPython({ heapsize: 1 << 24, stdout: (line) => fs.writeSync(1, line + "\n"), linebuffer: true });
mp.FS.mkdir("changeover");
for (const folder of ["", "changeover/"]) {
    for (const name of fs.readdirSync(path.join(firmware, folder)).filter((name) => name.endsWith(".mpy"))) {
        mp.FS.writeFile(folder + name, fs.readFileSync(path.join(firmware, folder, name)));
    }
}
mp.FS.writeFile("probe.py", fs.readFileSync(probe));
try {
    mp.runPython("from probe import more");
    const more = mp.globals.get("more");
    while (more()); // garbage is collected only between calls
} catch (error) {
    console.error(error.message);
    process.exitCode = 1;
}
