// Lets files be chosen or dropped and sends each to the program, which writes it to disk as it comes. Python is told the
// tokens of those that arrived; what can't be taken is told here, and then nothing of that choice is.

const choosers = new WeakMap();

export default function (component) {
  const root = component.parentElement;
  if (!choosers.has(root)) choosers.set(root, makeChooser(root));
  choosers.get(root)(component);
}

function size(bytes) {
  return bytes >= 1e9 ? (bytes / 1e9).toFixed(1) + " GB" : (bytes / 1e6).toFixed(1) + " MB";
}

function makeChooser(root) {
  const find = (selector) => root.querySelector(selector);
  const label = find("label"), input = find("input"), told = find(".told"), way = find(".way");
  let data = null, tell = null, request = null, turn = 0;

  const address = (file) => `${data.address}?name=${encodeURIComponent(file.name)}`;
  const silent = ({ name }) => `The program stopped answering during the upload of ${name}. ` +
    "Check that it is still running and its disk has room, then choose the file again.";
  // Rejects with a sentence where a file would not be taken.
  const ask = async (file) => {
    let answer = {};
    try { answer = await (await fetch(`${address(file)}&size=${file.size}`)).json(); } catch { throw silent(file); }
    if (answer.told) throw answer.told;
  };
  // Resolves to the token of a file; rejects with a sentence.
  const send = (file) => new Promise((resolve, reject) => {
    request = new XMLHttpRequest();
    request.open("PUT", address(file));
    request.upload.onprogress = ({ loaded }) => {
      find("progress").value = file.size ? loaded / file.size : 0;
      find(".far").textContent = `${file.name}: ${size(loaded)} of ${size(file.size)}`;
    };
    request.onload = () => {
      let answer = {};
      try { answer = JSON.parse(request.responseText); } catch { }
      if (answer.token) resolve(answer.token);
      else reject(answer.told || `The program didn't accept ${file.name}. Reload the page and choose it again.`);
    };
    request.onerror = () => reject(silent(file));
    request.onabort = () => reject("");
    request.send(file);
  });

  async function take(files) {
    const mine = ++turn;
    request?.abort();
    told.textContent = "";
    if (!files.length) return;
    const odd = files.find(({ name }) => !data.endings.some((ending) => name.toLowerCase().endsWith(ending)));
    if (odd || (files.length > 1 && !data.several)) {
      told.textContent = odd
        ? `This page doesn't accept ${odd.name}. Choose a file that ends in ${data.endings.join(", ")}.`
        : "Several files were chosen. Choose one.";
      input.value = "";
      return;
    }
    way.hidden = false;
    const tokens = [];
    try {
      for (const file of files) {
        await ask(file);
        if (mine === turn) tokens.push(await send(file));
      }
      if (mine === turn) tell("files", tokens);
    } catch (words) {
      if (mine === turn) told.textContent = words;
    }
    if (mine === turn) { way.hidden = true; input.value = ""; }
  }

  find(".stop").onclick = () => request?.abort();
  input.onchange = () => take([...input.files]);
  label.ondragover = (event) => { event.preventDefault(); label.classList.add("over"); };
  label.ondragleave = () => label.classList.remove("over");
  label.ondrop = (event) => { event.preventDefault(); label.classList.remove("over"); take([...event.dataTransfer.files]); };

  return (component) => {
    data = component.data;
    tell = component.setStateValue;
    find(".words").textContent = data.label;
    input.multiple = data.several;
    input.accept = data.endings.join(",");
    find(".held").replaceChildren(...data.held.map((words) => {
      const line = document.createElement("li");
      line.textContent = words;
      return line;
    }));
  };
}
