-- Documents as they are at one moment, with the chain as it is then. Writes nothing.
-- KEYS: the audit list, the audit head, then documents, then indexes.
-- ARGV: number of documents, bytes that are enough, then for each document: index in KEYS of the index that lists it (0:
--       none), its member there.
-- Answer: {audit head, number of entries, {type, version, document, seal, ms to live, whether it is listed} ...}; as many
-- of the documents, from the first, as are read once there are bytes enough.
local answer = {redis.call('GET', KEYS[2]) or '', redis.call('LLEN', KEYS[1])}
local bytes = 0
for at = 1, tonumber(ARGV[1]) do
  local key, index, member = KEYS[2 + at], tonumber(ARGV[1 + 2 * at]), ARGV[2 + 2 * at]
  local type = redis.call('TYPE', key).ok
  if type == 'hash' then
    local fields = redis.call('HMGET', key, 'v', 'd', 'm')
    local listed = index == 0 or redis.call('ZSCORE', KEYS[index], member)
    bytes = bytes + #(fields[2] or '')
    answer[#answer + 1] = {
      type, fields[1] or '', fields[2] or '', fields[3] or '', redis.call('PTTL', key), listed and 1 or 0
    }
  else
    answer[#answer + 1] = {type, '', '', '', -1, 1}
  end
  if bytes > tonumber(ARGV[2]) then
    break
  end
end
return answer
