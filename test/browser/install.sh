#!/bin/sh
# Installs Debian's Chromium where no browser is there; says so where it can't. CHROMIUM names another.
if [ -n "$CHROMIUM" ] || command -v chromium >/dev/null || command -v chromium-browser >/dev/null; then
  exit 0
fi
root=""
[ "$(id -u)" = 0 ] || root="sudo -n"
install() {
  $root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends chromium
}
if command -v apt-get >/dev/null && $root true 2>/dev/null; then
  install || { $root apt-get update -q && install; }
fi
command -v chromium >/dev/null || {
  echo "There is no Chromium here and it can't be installed: the tests in a browser are SKIPPED."
  echo "Install it (Debian: apt-get install chromium), or name one with CHROMIUM=/path/to/it."
}
