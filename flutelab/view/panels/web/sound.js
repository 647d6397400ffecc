// Sounds to be started by hand, one at a time; each has a name.
function render({ model, el }) {
  keepKeys(el);
  let urls = [];
  el.classList.add("flutelab-sound");
  const free = () => urls.forEach((url) => URL.revokeObjectURL(url));
  const update = () => {
    free();
    const sounds = model.get("sounds"); // WAV bytes, one for each name
    const names = model.get("names");
    urls = sounds.map((wav) => URL.createObjectURL(new Blob([wav], { type: "audio/wav" })));
    el.replaceChildren(
      ...urls.map((url, number) => {
        const figure = document.createElement("figure");
        const caption = document.createElement("figcaption");
        const audio = Object.assign(document.createElement("audio"), {
          controls: true, preload: "metadata", src: url,
        });
        caption.textContent = names[number];
        audio.setAttribute("aria-label", names[number]);
        audio.addEventListener("play", () => {
          for (const other of document.querySelectorAll(".flutelab-sound audio"))
            if (other !== audio) other.pause();
        });
        figure.append(caption, audio);
        return figure;
      }),
    );
  };
  model.on("change:sounds", update);
  update();
  return free;
}
export default { render };
