#!/bin/sh
# Starts a store of docker-compose.yml: settings as in store.conf, the password from its secret, and the role that
# Sentinel gave it last, which the store itself wrote into its file. STORE_PRIMARY: whom it follows at its first start.
set -eu
umask 077
password=$(cat /run/secrets/store-password)
own=/data/store.conf
if [ -e "$own" ]; then
  role=$(grep '^replicaof ' "$own" || true)
else
  role=${STORE_PRIMARY:+replicaof $STORE_PRIMARY 6379}
fi
{
  cat /etc/accord/store.conf
  echo "requirepass $password"
  echo "masterauth $password"
  echo "$role"
} >"$own.new"
mv "$own.new" "$own"
exec redis-server "$own"
