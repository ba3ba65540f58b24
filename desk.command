#!/bin/sh
# Opens the coordinator's page in the browser; started by a double click on macOS.
exec "$(dirname -- "$0")/desk.sh" "$@"
