#!/bin/sh
# The browser tests drive Debian's chromium. Installs it where this user may; says so where not.
command -v chromium >/dev/null 2>&1 && exit 0
if command -v apt-get >/dev/null 2>&1 && [ "$(id -u)" = 0 ]; then
  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium >/dev/null && exit 0
fi
echo "chromium is not here and can't be installed by this user: the browser tests will fail until it is" >&2
