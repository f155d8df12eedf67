#!/bin/sh
# Starts a store of docker-compose.yml: settings as in store.conf, the password from its secret, and its role. That is
# what the Sentinels (STORE_SENTINELS) say of its address (STORE_ADDRESS): one that was away while the other was promoted
# would else be a second primary until they notice. Where none answers, it is the role that it had last, which the store
# itself wrote into its file. STORE_PRIMARY: whom it follows at its first start.
set -eu
umask 077
password=$(sed 's/["\\]/\\&/g' /run/secrets/store-password)
own=/data/store.conf
primary=
for sentinel in $STORE_SENTINELS; do
  told=$(timeout 1 redis-cli -h "$sentinel" -p 26379 sentinel get-master-addr-by-name accord 2>/dev/null | head -n 1)
  case $told in [0-9]*.*.*.*[0-9]) primary=$told && break ;; esac
done
if [ "$primary" = "$STORE_ADDRESS" ]; then
  role=
elif [ -n "$primary" ]; then
  role="replicaof $primary 6379"
elif [ -e "$own" ]; then
  role=$(grep '^replicaof ' "$own" || true)
else
  role=${STORE_PRIMARY:+replicaof $STORE_PRIMARY 6379}
fi
{
  cat /etc/accord/store.conf
  printf 'requirepass "%s"\n' "$password"
  printf 'masterauth "%s"\n' "$password"
  echo "$role"
} >"$own.new"
mv "$own.new" "$own"
exec redis-server "$own"
