// Makes a photo as small as the logbook takes it, before it is sent. Without scripts the form says how small.
"use strict";
(() => {
  const input = document.getElementById("f-photo");
  const most = Number(input.dataset.most); // bytes
  const jpeg = (canvas, quality) => new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
  async function smaller(file) {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const canvas = document.createElement("canvas");
    for (let side = 2048; side >= 256; side /= 2) {
      const scale = Math.min(1, side / Math.max(picture.width, picture.height));
      canvas.width = Math.round(picture.width * scale); canvas.height = Math.round(picture.height * scale);
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      for (const quality of [0.85, 0.7]) {
        const blob = await jpeg(canvas, quality);
        if (blob && blob.size <= most) return new File([blob], file.name.replace(/\.\w+$/, "") + ".jpg", { type: "image/jpeg" });
      }
    }
    return file;
  }
  input.addEventListener("change", async () => {
    const file = input.files[0];
    if (!file || file.size <= most) return;
    const send = input.form.querySelector("button[type=submit]");
    send.disabled = true; // what is sent meanwhile would be the large one
    try {
      const files = new DataTransfer();
      files.items.add(await smaller(file));
      if (input.files[0] === file) input.files = files.files;
    } catch { /* it is no picture: the answer says so */ }
    send.disabled = false;
  });
})();
