// Runs one script of on_board/ on MicroPython's official WebAssembly port:
//   node run.mjs MICROPYTHON.MJS HEAP_BYTES SCRIPT [ARGUMENT...]
// The folders of $MICROPYPATH are the module path, as for the Unix port.
import fs from "node:fs";
import path from "node:path";

const [module, heapsize, script, ...args] = process.argv.slice(2);
const { loadMicroPython } = await import(module);

// Whole lines at once: the port asks for one character at a time.
const chunk = Buffer.alloc(65536);
let waiting = [];
function stdin() {
    if (waiting.length === 0) {
        const n = fs.readSync(0, chunk);
        if (n === 0) return null;
        waiting = Array.from(chunk.subarray(0, n));
    }
    return waiting.shift();
}

const micropython = await loadMicroPython({
    heapsize: Number(heapsize),
    stdin,
    stdout: (line) => fs.writeSync(1, line + "\n"),
    linebuffer: true,
});
const folders = process.env.MICROPYPATH.split(":");
for (const folder of folders) copy(folder);

function copy(folder) {
    micropython.FS.mkdirTree(folder);
    for (const entry of fs.readdirSync(folder, { withFileTypes: true })) {
        const from = path.join(folder, entry.name);
        if (entry.isDirectory()) copy(from);
        else if (from.endsWith(".py")) micropython.FS.writeFile(from, fs.readFileSync(from));
    }
}

micropython.FS.chdir("/tmp");
micropython.runPython(`
import sys
sys.path[:] = ${JSON.stringify(folders)}
sys.argv[:] = ${JSON.stringify([script, ...args])}

# This port alone has no os.urandom, by which a board names its start.
import board, random
board.new_boot = lambda: "%08x" % random.getrandbits(32)
`);
try {
    micropython.runPython(fs.readFileSync(script, "utf8"));
} catch (error) {
    console.error(error.message); // the error itself would print the whole port with it
    process.exitCode = 1;
}
