/* The scan field and scanners that type like a keyboard.
   - Keys struck faster than a hand can, anywhere on the page, are taken for a scan and go to the scan field.
   - The group separator (GS, ASCII 29) between parts of a GS1 code cannot be typed into a field: scanners send it
     as Ctrl+], as the control key with another sign, as Alt and 029 on the number pad, or as a bare control
     character. Each becomes "^", which the server reads as GS.
   - The field keeps focus unless someone is typing elsewhere; it is emptied once the answer has come.
   - A refusal sounds two short low notes, once a person has touched the page, so a gloved hand need not look. */
(function () {
  "use strict";

  var SEPARATOR = "^";
  var FASTEST_HAND_MS = 35; // Two keys of a person lie further apart than this; two keys of a scanner do not.
  var SHORTEST_SCAN = 4;
  var CODE = /^[\x20-\x7e]$/;

  var form = document.querySelector("form[data-scan]");
  var field = form && form.querySelector("input[name=code]");
  if (!field) { return; }

  var burst = []; // The keys of the present burst: what they typed and where.
  var lastKeyAt = 0;
  var altDigits = null;
  var sound = null;

  function typesText(element) {
    if (!element || element === document.body) { return false; }
    if (element.isContentEditable) { return true; }
    if (element.tagName === "TEXTAREA" || element.tagName === "SELECT") { return true; }
    return element.tagName === "INPUT" && !/^(checkbox|radio|button|submit|reset|image|range|color)$/.test(element.type);
  }

  function insert(text) {
    var from = field.selectionStart, to = field.selectionEnd;
    field.value = field.value.slice(0, from) + text + field.value.slice(to);
    field.setSelectionRange(from + text.length, from + text.length);
  }

  function isSeparator(event) {
    if (event.key === "\u001d" || event.key === "GroupSeparator") { return true; }
    return event.ctrlKey && !event.altKey && !event.metaKey && (event.key === "]" || event.code === "BracketRight");
  }

  /* A separator belongs to the scan field, or to another field a scanner is writing into. */
  function takeSeparator(event) {
    event.preventDefault();
    var at = document.activeElement;
    if (at === field || !typesText(at)) {
      field.focus();
      insert(SEPARATOR);
    } else if (typeof at.setRangeText === "function" && /^(text|search|tel|url|password)$/.test(at.type || "text")) {
      at.setRangeText(SEPARATOR, at.selectionStart, at.selectionEnd, "end");
    }
    burst.push(SEPARATOR);
  }

  /* Alt and digits of the number pad: 029 or 29 is GS; the browser would drop it. */
  function takeAltDigits(event) {
    if (event.altKey && /^Numpad[0-9]$/.test(event.code)) {
      altDigits = (altDigits || "") + event.code.slice(-1);
      event.preventDefault();
      return true;
    }
    return false;
  }

  document.addEventListener("keyup", function (event) {
    if (event.key !== "Alt" || altDigits === null) { return; }
    if (Number(altDigits) === 29) { takeSeparator(event); }
    altDigits = null;
  }, true);

  document.addEventListener("keydown", function (event) {
    if (event.isComposing) { return; }
    var now = event.timeStamp;
    if (now - lastKeyAt > FASTEST_HAND_MS) { burst = []; }
    if (event.key !== "Control" && event.key !== "Shift" && event.key !== "Alt") { lastKeyAt = now; }
    if (takeAltDigits(event)) { return; }
    if (isSeparator(event)) { takeSeparator(event); return; }

    var at = document.activeElement;
    if (event.key === "Enter") {
      var scanned = burst.length >= SHORTEST_SCAN;
      burst = [];
      /* A scan that began on a button or a tick must not press it. */
      if (scanned && at !== field && !typesText(at)) { event.preventDefault(); send(); }
      return;
    }
    if (event.ctrlKey || event.metaKey || event.altKey || !CODE.test(event.key)) { return; }
    burst.push(event.key);
    if (at === field || typesText(at)) { return; }
    /* A space on a control presses it, unless it comes in the middle of a scan. */
    if (event.key === " " && burst.length === 1) { return; }
    event.preventDefault();
    field.focus();
    insert(event.key);
  }, true);

  /* Pasted text and keyboards that write the control character itself. */
  field.addEventListener("beforeinput", function (event) {
    if (!event.data || event.data.indexOf("\u001d") < 0) { return; }
    event.preventDefault();
    insert(event.data.replace(/\u001d/g, SEPARATOR));
  });
  field.addEventListener("paste", function (event) {
    var text = event.clipboardData && event.clipboardData.getData("text");
    if (!text || text.indexOf("\u001d") < 0) { return; }
    event.preventDefault();
    insert(text.replace(/\u001d/g, SEPARATOR).trim());
  });

  function send() {
    if (typeof form.requestSubmit === "function") { form.requestSubmit(); } else { form.submit(); }
  }

  form.addEventListener("submit", function (event) {
    if (!field.value.trim()) { event.preventDefault(); event.stopImmediatePropagation(); field.focus(); }
  }, true);

  function focusAgain() {
    if (!typesText(document.activeElement)) { field.focus({ preventScroll: true }); }
  }

  /* After a touch on something that takes no text, the next scan should find the field. */
  document.addEventListener("click", function (event) {
    if (event.detail === 0) { return; } // Pressed by keyboard: leave focus where the person has it.
    var reading = String(window.getSelection() || "");
    if (!reading && !event.target.closest("a, summary, select, label, input, textarea")) { setTimeout(focusAgain, 0); }
  });

  document.addEventListener("htmx:afterRequest", function (event) {
    if (event.target !== form) { return; }
    if (event.detail.successful || (event.detail.xhr && event.detail.xhr.status < 500)) { field.value = ""; }
    focusAgain();
  });

  /* Sound needs a person's gesture first; browsers ask for one and so do we. */
  function allowSound() {
    var Sound = window.AudioContext || window.webkitAudioContext;
    if (!sound && Sound) { sound = new Sound(); }
  }
  document.addEventListener("pointerdown", allowSound, { once: true });
  document.addEventListener("keydown", allowSound, { once: true });

  function note(after, hertz) {
    var voice = sound.createOscillator(), volume = sound.createGain(), at = sound.currentTime + after;
    voice.frequency.value = hertz;
    volume.gain.setValueAtTime(0.15, at);
    volume.gain.exponentialRampToValueAtTime(0.001, at + 0.14);
    voice.connect(volume).connect(sound.destination);
    voice.start(at);
    voice.stop(at + 0.15);
  }

  document.addEventListener("htmx:afterSwap", function (event) {
    var said = event.detail.target && event.detail.target.querySelector("[data-said=refused]");
    if (said && sound && sound.state === "running") { note(0, 240); note(0.17, 190); }
  });

  if (!typesText(document.activeElement)) { field.focus({ preventScroll: true }); }
}());
