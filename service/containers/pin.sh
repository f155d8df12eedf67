#!/bin/sh
# Prints the images of docker-compose.yml with the digests that the registry has for their tags now, for compose's .env:
#   service/containers/pin.sh > .env
# Needs Docker with buildx, and the registry. Run it again, and read the difference, to take up what is newer.
set -eu
pinned() {
  if ! digest=$(docker buildx imagetools inspect "$2" --format '{{.Manifest.Digest}}'); then
    echo "The registry did not tell the digest of $2: nothing is pinned." >&2
    return 1
  fi
  case $digest in
  sha256:????????????????????????????????????????????????????????????????) ;;
  *)
    echo "The registry told no digest for $2 but \"$digest\": nothing is pinned." >&2
    return 1
    ;;
  esac
  echo "$1=$2@$digest"
}
python=$(pinned ACCORD_PYTHON_IMAGE python:3.12-slim)
store=$(pinned ACCORD_STORE_IMAGE redis:7.2-bookworm)
printf '%s\n%s\n' "$python" "$store"
