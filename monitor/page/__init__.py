"""The page on the home network. It asks the service through `service_api` and knows nothing else.

`app` puts it together, `gate` lets requests in, `sign_in` and `browser_session` know who asks.
`screen_now`, `screen_do`, `screen_record`, `screen_setup` are its screens; `live` keeps an open one
up to date; `review_worker` has the record worked out in a child process."""
