// Runs a script that plays by parts, `more()`, under MicroPython's WebAssembly build; that sees no files but its own:
//     node webassembly.mjs MICROPYTHON SCRIPT FIRMWARE [VECTORS OUTPUTS]
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [micropython, script, firmware, vectors, outputs] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(micropython));
const mp = await loadMicroPython({ heapsize: 1 << 24, stdout: (line) => fs.writeSync(1, line + "\n"), linebuffer: true });

const law = path.join(firmware, "changeover");
mp.FS.mkdir("changeover");
for (const name of fs.readdirSync(law).filter((name) => name.endsWith(".py"))) {
    mp.FS.writeFile("changeover/" + name, fs.readFileSync(path.join(law, name)));
}
mp.FS.writeFile("script.py", fs.readFileSync(script));
if (vectors) mp.FS.writeFile("vectors", fs.readFileSync(vectors));
try {
    mp.runPython("import sys; sys.argv[:] = ['', '', 'vectors', 'outputs']; from script import more");
    const more = mp.globals.get("more");
    while (more()); // garbage is collected only between calls
} catch (error) {
    console.error(error.message);
    process.exitCode = 1;
}
if (outputs) fs.writeFileSync(outputs, mp.FS.readFile("outputs"));
